// Touchstone 1-port files, version 1.1, from memory of its text: '!' begins a comment; the option line
// "# <unit> <parameter> <format> R <ohm>" stands before the data, its words in any order and any case, each
// with a default (GHz, S, MA, R 50); option lines after the first are passed over; a data line is a frequency
// and one pair. Z and Y parameters are normalised to R, angles are in degrees.
#include <cmath>

#include "analysis/units.h"
#include "cli/files/curves/impedance_rows.h"
#include "cli/files/plain_text.h"
#include "cli/files/utf8.h"

namespace assay::cli {
namespace {

struct Options {
    double hz_per_unit = 1e9;
    char parameter = 's';
    std::string format = "ma";
    double reference_ohm = 50.0;
};

constexpr const char* option_mend = "write it as: # Hz Z RI R 1";

capture::Result<Options> read_options(const std::string& name, int line, std::string_view text) {
    Options options;
    const auto words = words_of(text.substr(1));
    for (std::size_t i = 0; i < words.size(); ++i) {
        const std::string word = lower_case(words[i]);
        if (word == "hz" || word == "khz" || word == "mhz" || word == "ghz") {
            options.hz_per_unit = word == "hz" ? 1.0 : word == "khz" ? 1e3 : word == "mhz" ? 1e6 : 1e9;
        } else if (word == "s" || word == "z" || word == "y") {
            options.parameter = word[0];
        } else if (word == "ri" || word == "ma" || word == "db") {
            options.format = word;
        } else if (word == "r") {
            const auto ohm = i + 1 < words.size() ? number_in(words[i + 1], false) : std::nullopt;
            if (!ohm || !(*ohm > 0.0)) {
                return wrong_line(name, line, "R without a resistance above 0 ohm", option_mend);
            }
            options.reference_ohm = *ohm;
            ++i;
        } else {
            return wrong_line(name, line,
                              "option line with \"" + visible_text(words[i], 40) +
                                  "\"; only Hz to GHz, S, Z or Y, RI, MA or DB, and R are read",
                              option_mend);
        }
    }
    return options;
}

std::complex<double> pair_of(const Options& options, double first, double second) {
    if (options.format == "ri") return {first, second};
    const double magnitude = options.format == "db" ? analysis::ratio_from_decibels(first) : first;
    return std::polar(1.0, second * analysis::radians) * magnitude;
}

/// Not finite where the pair stands for no impedance.
std::complex<double> ohms_of(const Options& options, const std::complex<double>& pair) {
    if (options.parameter == 'z') return options.reference_ohm * pair;
    if (options.parameter == 'y') return options.reference_ohm / pair;
    return options.reference_ohm * (1.0 + pair) / (1.0 - pair);
}

}  // namespace

capture::Result<std::vector<ImpedanceRow>> read_touchstone(const std::string& name,
                                                           const std::vector<std::string_view>& lines) {
    std::vector<ImpedanceRow> rows;
    std::optional<Options> options;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const int line = static_cast<int>(i) + 1;
        const std::string_view text = trimmed(lines[i].substr(0, lines[i].find('!')));
        if (text.empty()) continue;
        if (text[0] == '[') {
            return wrong_line(name, line, "is Touchstone version 2", "export version 1, with # Hz Z RI R 1");
        }
        if (text[0] == '#') {
            if (options) continue;
            auto read = read_options(name, line, text);
            if (!read) return tl::unexpected(read.error());
            options = *read;
            continue;
        }
        if (!options) return wrong_line(name, line, "data before the option line", option_mend);
        const auto words = words_of(text);
        if (words.size() != 3) {
            return wrong_line(name, line,
                              "holds " + std::to_string(words.size()) + " values; a 1-port line has three",
                              "export one port: a frequency and one pair a line");
        }
        double values[3] = {};
        for (std::size_t column = 0; column < 3; ++column) {
            const auto number = number_in(words[column], false);
            if (!number) {
                return wrong_line(name, line,
                                  "\"" + visible_text(words[column], 40) + "\" is not a finite number",
                                  "mend the number or take the line out");
            }
            values[column] = *number;
        }
        const std::complex<double> ohms = ohms_of(*options, pair_of(*options, values[1], values[2]));
        if (!std::isfinite(ohms.real()) || !std::isfinite(ohms.imag())) {
            return wrong_line(name, line, "the pair stands for no finite impedance",
                              "take the line out, or export Z parameters");
        }
        rows.push_back({line, values[0] * options->hz_per_unit, ohms, 0.0});
    }
    return rows;
}

}  // namespace assay::cli
