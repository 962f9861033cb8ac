// Curves in files: each form against the impedance of a plain circuit (6 ohm in series with 1 mH, a closed
// form), slips answered with their line, and writers read back.
#include "cli/files/curves/impedance_file.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <numbers>
#include <random>

namespace assay::cli {
namespace {

using std::complex;

constexpr double frequencies_hz[] = {20.0, 100.0, 1000.0, 5000.0, 20000.0};

complex<double> circuit(double frequency_hz) {
    return {6.0, 2.0 * std::numbers::pi * frequency_hz * 1e-3};
}

/// A line for each frequency, from Hz, ohm, degrees, real and imaginary part.
template <class Line>
std::string lines(const Line& line) {
    std::string out;
    for (const double f : frequencies_hz) {
        const complex<double> z = circuit(f);
        out += line(f, std::abs(z), std::arg(z) * 180.0 / std::numbers::pi, z.real(), z.imag());
    }
    return out;
}

std::string with_commas(std::string text) {
    std::replace(text.begin(), text.end(), '.', ',');
    return text;
}

/// Every form gives the circuit back to the digits that the text has.
void expect_circuit(const std::string& name, const std::string& text, double relative = 1e-9) {
    const auto curve = parse_impedance(name, text);
    ASSERT_TRUE(curve.has_value()) << curve.error().text << "; " << curve.error().mend;
    ASSERT_EQ(curve->points.size(), std::size(frequencies_hz));
    for (std::size_t i = 0; i < std::size(frequencies_hz); ++i) {
        EXPECT_NEAR(curve->points[i].frequency_hz, frequencies_hz[i], 1e-9 * frequencies_hz[i]);
        const complex<double> z = circuit(frequencies_hz[i]);
        EXPECT_LE(std::abs(curve->points[i].z_ohm - z), relative * std::abs(z))
            << name << " at " << frequencies_hz[i];
    }
}

TEST(ImpedanceFile, CsvWithHeaders) {
    const auto polar = [](double f, double m, double p, double, double) {
        return fmt::format("{},{:.12g},{:.12g}\n", f, m, p);
    };
    expect_circuit("a.csv", "frequency_hz,magnitude_ohm,phase_deg\n" + lines(polar));
    expect_circuit("a.csv",
                   "\xEF\xBB\xBF\"Frequency (Hz)\",\"Impedance (Ohm)\",\"Phase (deg)\"\n" + lines(polar));
    expect_circuit("a.csv", "f [Hz], |Z| [\xCE\xA9], phase [\xC2\xB0]\n" + lines(polar));
    expect_circuit("a.csv", "# measured at night\nFreq,Z,Phase (degrees)\n" + lines(polar));
    expect_circuit("a.csv", "Freq(Hz),Mag(Ohms),Phase(\xB0)\n" + lines(polar));  // one-byte encoding
    expect_circuit("a.csv", "phase_deg,note,magnitude_kohm,frequency_khz\n" +
                                lines([](double f, double m, double p, double, double) {
                                    return fmt::format("{:.12g},ok,{:.12g},{:.12g}\n", p, m / 1e3, f / 1e3);
                                }));
    expect_circuit("a.csv", "frequency_hz,magnitude_ohm,phase_deg,magnitude_expanded_uncertainty_ohm\n" +
                                lines([](double f, double m, double p, double, double) {
                                    return fmt::format("{},{:.12g},{:.12g},0.01\n", f, m, p);
                                }));
    expect_circuit("a.csv", "frequency_hz,phase_rad,magnitude_ohm\n" + lines([](double f, double m, double p,
                                                                                double, double) {
                                return fmt::format("{},{:.14g},{:.14g}\n", f, p * std::numbers::pi / 180, m);
                            }));
}

TEST(ImpedanceFile, RealAndImaginary) {
    const auto parts = [](double f, double, double, double re, double im) {
        return fmt::format("{};{:.12g};{:.12g}\n", f, re, im);
    };
    expect_circuit("a.csv", "frequency_hz;real_ohm;imaginary_ohm\n" + lines(parts));
    expect_circuit("a.csv", "Frequenz [Hz];Re(Z) [Ohm];Im(Z) [Ohm]\n" + with_commas(lines(parts)));
    expect_circuit("a.csv",
                   "Freq (Hz);R (ohm);X (ohm);\n" + lines([](double f, double, double, double re, double im) {
                       return fmt::format("{};{:.12g};{:.12g};\r\n", f, re, im);
                   }));
}

TEST(ImpedanceFile, TextWithSpacesOrTabs) {
    const auto spaced = [](double f, double m, double p, double, double) {
        return fmt::format("  {}   {:.12g}  {:.12g}\r\n", f, m, p);
    };
    expect_circuit("a.txt", lines(spaced));  // no header: degrees are the only possibility
    expect_circuit("a.zma", "* Freq(Hz) Z(Ohms) Phase(Deg)\n" + lines(spaced));
    expect_circuit("a.txt", "Freq (Hz)  Impedance magnitude (ohm)  Phase (deg)\n" + lines(spaced));
    expect_circuit("a.txt", "Freq (Hz) Z (ohm) Phase (deg)\n" + lines(spaced));
    expect_circuit("a.txt", "10-inch driver, free air\n\nfreq z phase\n" + lines(spaced));
    expect_circuit("a.txt", with_commas(lines(spaced)));
    expect_circuit("a.txt", "frequency_hz\tmagnitude_ohm\tphase_deg\n" +
                                with_commas(lines([](double f, double m, double p, double, double) {
                                    return fmt::format("{}\t{:.12g}\t{:.12g}\n", f, m, p);
                                })));
}

TEST(ImpedanceFile, RadiansAreToldFromTheNumbersOrAskedFor) {
    // A coil: 6 to 126 ohm over three decades. In degrees, 1.5 would allow a change of 12 % only.
    expect_circuit("a.txt", lines([](double f, double m, double p, double, double) {
                       return fmt::format("{} {:.14g} {:.14g}\n", f, m, p * std::numbers::pi / 180.0);
                   }));
    // A resistor with a trace of inductance: both are possible.
    const auto vague = parse_impedance("a.txt", "20 8.00 0.1\n1000 8.01 0.5\n20000 8.2 1.2\n");
    ASSERT_FALSE(vague.has_value());
    EXPECT_EQ(vague.error().text, "a.txt:1: the phase may be in degrees or in radians");
    // Where it makes no difference to three digits it is not asked.
    EXPECT_TRUE(parse_impedance("a.txt", "20 8.00 0.0001\n1000 8.0 0.0005\n20000 8.0 0.0009\n").has_value());
}

TEST(ImpedanceFile, ThousandsPartedByACommaAreRefused) {
    // 1,000 is a thousand here, and one to who takes the comma for a decimal sign: the points tell them
    // apart.
    const auto mixed =
        parse_impedance("a.csv", "f_hz;z_ohm;phase_deg\n1,000;8.05;30.1\n2,000;9.5;31.2\n3,000;11;32\n");
    ASSERT_FALSE(mixed.has_value());
    EXPECT_EQ(mixed.error().text, "a.csv:2: \"8.05\" has a point where other numbers have a decimal comma");
    // A comma in words is no decimal sign.
    EXPECT_TRUE(parse_impedance("a.csv",
                                "f_hz;z_ohm;phase_deg;note\n20;8.05;30.1;good, dry\n30;9;31;-\n40;9;31;x\n"));
    EXPECT_FALSE(parse_impedance("a.txt", "1,000 8.05 30.1\n2,000 9.5 31.2\n3,000 11 32\n").has_value());
}

TEST(ImpedanceFile, AMegohmIsNoMilliohm) {
    const std::string rows = "20,8.00,10\n1000,8.5,20\n20000,9.0,30\n";
    for (const char* unit : {"MOhm", "M\xCE\xA9", "MOhms"}) {
        const auto large =
            parse_impedance("a.csv", fmt::format("Freq (Hz),Z ({}),Phase (deg)\n{}", unit, rows));
        ASSERT_FALSE(large.has_value()) << unit;
        EXPECT_EQ(large.error().mend, "export the impedance in ohm");
    }
    const auto small = parse_impedance("a.csv", "Freq (Hz),Z (mOhm),Phase (deg)\n" + rows);
    ASSERT_TRUE(small.has_value());
    EXPECT_NEAR(std::abs(small->points[0].z_ohm), 0.008, 1e-12);
}

TEST(ImpedanceFile, Touchstone) {
    expect_circuit("a.s1p",
                   "! a coil\n# Hz Z RI R 1\n" + lines([](double f, double, double, double re, double im) {
                       return fmt::format("{} {:.12g} {:.12g} ! here\n", f, re, im);
                   }));
    // Z is normalised to R in version 1.
    expect_circuit("A.S1P", "# khz z ma r 50\n" + lines([](double f, double m, double p, double, double) {
                                return fmt::format("{:.12g} {:.12g} {:.12g}\n", f / 1e3, m / 50.0, p);
                            }));
    expect_circuit("a.s1p", "# R 8 DB Z MHz\n" + lines([](double f, double m, double p, double, double) {
                                return fmt::format("{:.12g} {:.15g} {:.12g}\n", f / 1e6,
                                                   20.0 * std::log10(m / 8.0), p);
                            }));
    const auto scattered = [](double f, double, double, double re, double im) {
        const complex<double> s = (complex<double>{re, im} - 50.0) / (complex<double>{re, im} + 50.0);
        return fmt::format("{:.12g} {:.15g} {:.15g}\n", f / 1e9, std::abs(s),
                           std::arg(s) * 180.0 / std::numbers::pi);
    };
    expect_circuit("a.s1p", "#\n" + lines(scattered), 1e-8);  // every default: GHz S MA R 50
    expect_circuit("a.s1p",
                   "# Hz Y RI R 50\n# ignored\n" + lines([](double f, double, double, double re, double im) {
                       const complex<double> y = 50.0 / complex<double>{re, im};
                       return fmt::format("{} {:.15g} {:.15g}\n", f, y.real(), y.imag());
                   }));
}

TEST(ImpedanceFile, FallingFrequenciesAreTurnedRound) {
    const auto curve =
        parse_impedance("a.csv", "frequency_hz,magnitude_ohm,phase_deg\n300,8,3\n200,7,2\n100,6,1\n");
    ASSERT_TRUE(curve.has_value());
    EXPECT_EQ(curve->points.front().frequency_hz, 100.0);
    EXPECT_NEAR(std::abs(curve->points.front().z_ohm), 6.0, 1e-12);
}

struct Wrong {
    std::string name;
    std::string text;
    std::string complaint;
};

TEST(ImpedanceFile, SlipsAreAnsweredWithTheirLine) {
    const std::string head = "frequency_hz,magnitude_ohm,phase_deg\n";
    const std::vector<Wrong> all{
        {"a.csv", "", "a.csv:1: no line of numbers is found up to here"},
        {"a.csv", head, "a.csv:1: no line of numbers is found up to here"},
        {"a.csv", head + "20,6,1\n30,6,1\n", "a.csv:3: 2 points in the whole file"},
        {"a.csv", head + "20,6,1\n30,6,1\n30,6,1\n", "a.csv:4: 30 Hz stands in line 3 already"},
        {"a.csv", head + "20,6,1\n40,6,1\n30,6,1\n50,6,2\n", "a.csv:4: 30 Hz after 40 Hz: out of order"},
        {"a.csv", head + "20,6,1\n30,nan,1\n40,6,1\n", "a.csv:3: \"nan\" is not a finite number"},
        {"a.csv", head + "20,6,1\n30,inf,1\n40,6,1\n", "a.csv:3: \"inf\" is not a finite number"},
        {"a.csv", head + "20,6,1\n30,6,1e999\n40,6,1\n", "a.csv:3: \"1e999\" is not a finite number"},
        {"a.csv", head + "20,6,1\n30,,1\n40,6,1\n", "a.csv:3: column 2 is empty"},
        {"a.csv", head + "20,6,1\n30,6\n40,6,1\n", "a.csv:3: 2 columns where 3 are expected"},
        {"a.csv", head + "20,6,1\n-30,6,1\n40,6,1\n", "a.csv:3: frequency -30 Hz"},
        {"a.csv", head + "0,6,1\n30,6,1\n40,6,1\n", "a.csv:2: frequency 0 Hz"},
        {"a.csv", head + "20,-6,1\n30,6,1\n40,6,1\n", "a.csv:2: a magnitude below zero"},
        {"a.csv", head + "20,0,1\n30,6,1\n40,6,1\n", "a.csv:2: impedance of 0 ohm"},
        {"a.csv", head + "20,6,1\n30,6,1000\n40,6,1\n", "a.csv:3: a phase of 1000 deg"},
        {"a.csv", head + "20..1,6,1\n30,6,1\n", "a.csv:2: no line of numbers is found up to here"},
        {"a.csv", head + "20,5,6,1,1,0\n30,1,6,1,1,0\n", "a.csv:2: 6 numbers below a header of 3 columns"},
        {"a.csv", "frequency_hz,magnitude_ohm\n20,6\n30,7\n", "a.csv:1: the header names no column of phase"},
        {"a.csv", "frequency_hz,real_ohm\n20,6\n30,7\n",
         "a.csv:1: the header names no column of imaginary part"},
        {"a.csv", "a,b,c\n20,6,1\n30,7,1\n", "a.csv:1: the header names no column of frequency"},
        {"a.csv", "frequency_hz,phase_deg,note\n1,1,1\n", "a.csv:1: the header names no column of magnitude"},
        {"a.csv", "frequency_hz,magnitude_db,phase_deg\n20,6,1\n",
         "a.csv:1: column \"magnitude_db\" is in a unit not read here"},
        {"a.csv", "f,z_ohm,phase_deg,z2_ohm\n20,6,1,6\n",
         "a.csv:1: two columns of magnitude: \"z_ohm\" and \"z2_ohm\""},
        {"a.txt", "20 6\n30 7\n", "a.txt:1: 2 columns without a header"},
        {"a.txt", std::string("20 6\0 1\n", 8), "a.txt:1: is not a text file"},
        {"a.txt", "\xFF\xFE" + std::string("2\0", 2), "a.txt:1: is UTF-16 text"},
        {"a.s1p", "20 1 1\n", "a.s1p:1: data before the option line"},
        {"a.s1p", "# Hz H RI\n",
         "a.s1p:1: option line with \"H\"; only Hz to GHz, S, Z or Y, RI, MA or DB, and R are read"},
        {"a.s1p", "# Hz Z RI R\n", "a.s1p:1: R without a resistance above 0 ohm"},
        {"a.s1p", "# Hz Z RI R 1\n20 1 1 2 2 3 3 4 4\n", "a.s1p:2: holds 9 values; a 1-port line has three"},
        {"a.s1p", "# Hz S RI R 50\n20 1 0\n", "a.s1p:2: the pair stands for no finite impedance"},
        {"a.s1p", "[Version] 2.0\n", "a.s1p:1: is Touchstone version 2"},
    };
    for (const Wrong& wrong : all) {
        const auto curve = parse_impedance(wrong.name, wrong.text);
        ASSERT_FALSE(curve.has_value()) << wrong.text;
        EXPECT_EQ(curve.error().text, wrong.complaint);
        EXPECT_EQ(curve.error().kind, capture::FaultKind::bad_input_file);
        EXPECT_FALSE(curve.error().mend.empty());
    }
}

TEST(ImpedanceFile, HugeMissingAndBinaryFilesAreRefused) {
    const auto folder = std::filesystem::temp_directory_path();
    EXPECT_FALSE(read_impedance_file(folder).has_value());
    EXPECT_FALSE(read_impedance_file(folder / "assay-no-such-curve.csv").has_value());
    const auto huge = folder / "assay-huge-curve.csv";
    {
        std::ofstream file(huge);
        file << "x";
    }
    std::filesystem::resize_file(huge, 100U << 20U);
    const auto curve = read_impedance_file(huge);
    std::filesystem::remove(huge);
    ASSERT_FALSE(curve.has_value());
    EXPECT_NE(curve.error().text.find("larger than 16 MB"), std::string::npos);
}

// Whatever is changed in a good file: an answer in one line, no crash, and what is taken is finite and in
// order.
TEST(ImpedanceFile, TwentyThousandMutations) {
    const std::string table = "f_hz;z_ohm;phase_deg\n20,5;6;1\n30;7;-2\n40;8;3\n50;9;4\n";
    const std::string touchstone = "! x\n# kHz Z MA R 50\n0.02 0.1 3\n0.03 0.2 5\n0.04 0.3 2\n";
    const std::string letters = "0123456789.,;-+eE \t\n\r#!*\"zfR\xFF\xCE\xA9";
    std::mt19937 random(20260314);
    const auto below = [&](std::size_t end) { return static_cast<std::size_t>(random() % end); };
    std::size_t taken = 0;
    for (int trial = 0; trial < 20000; ++trial) {
        const bool s1p = trial % 2 == 1;
        std::string text = s1p ? touchstone : table;
        for (std::size_t change = 0; change <= below(3); ++change) {
            const std::size_t at = below(text.size());
            if (below(3) == 0) {
                text.erase(at, 1 + below(4));
            } else if (below(2) == 0) {
                text.insert(at, 1, letters[below(letters.size())]);
            } else {
                text[at] = letters[below(letters.size())];
            }
            if (text.empty()) text = "x";
        }
        const auto curve = parse_impedance(s1p ? "a.s1p" : "a.csv", text);
        if (!curve) {
            EXPECT_EQ((curve.error().text + curve.error().mend).find('\n'), std::string::npos);
            continue;
        }
        ++taken;
        double before = 0.0;
        for (const analysis::ImpedancePoint& point : curve->points) {
            EXPECT_GT(point.frequency_hz, before);
            EXPECT_TRUE(std::isfinite(std::abs(point.z_ohm)));
            before = point.frequency_hz;
        }
    }
    EXPECT_GT(taken, 1000U);
    EXPECT_LT(taken, 19000U);
}

TEST(ImpedanceFile, WritersAreReadBack) {
    analysis::ImpedanceCurve curve;
    for (const double f : frequencies_hz) curve.points.push_back({f * 1.0000000001, circuit(f), 1e-6 * f});
    const std::string csv = impedance_csv(curve);
    EXPECT_TRUE(csv.starts_with("frequency_hz,magnitude_ohm,phase_deg,scatter_ohm\n20.000000002,"));
    const std::string s1p = impedance_touchstone(curve, {"assay export", "unit: two\nlines"});
    EXPECT_TRUE(s1p.starts_with("! assay export\n! unit: two lines\n# Hz Z RI R 1\n"));
    for (const auto& [name, text] : {std::pair<std::string, std::string>{"a.csv", csv},
                                     {"a.txt", impedance_text(curve, {"assay export"})},
                                     {"a.s1p", s1p}}) {
        const auto back = parse_impedance(name, text);
        ASSERT_TRUE(back.has_value()) << back.error().text;
        ASSERT_EQ(back->points.size(), curve.points.size());
        for (std::size_t i = 0; i < curve.points.size(); ++i) {
            EXPECT_EQ(back->points[i].frequency_hz, curve.points[i].frequency_hz);
            EXPECT_LE(std::abs(back->points[i].z_ohm - curve.points[i].z_ohm),
                      4e-16 * std::abs(curve.points[i].z_ohm));
            if (name == "a.csv") {
                EXPECT_NEAR(back->points[i].variance_ohm2, curve.points[i].variance_ohm2, 1e-18);
            }
        }
    }
}

}  // namespace
}  // namespace assay::cli
