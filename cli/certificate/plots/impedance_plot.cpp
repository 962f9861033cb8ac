// Impedance with phase and the model of a fit; and what the fit leaves.
#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "cli/certificate/plots/plot_ends.h"
#include "cli/certificate/plots/plot_pens.h"
#include "cli/certificate/plots/plot_ticks.h"
#include "cli/certificate/plots/test_plot.h"
#include "cli/files/plain_text.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"

namespace assay::cli {
namespace {

constexpr double dots_per_octave = 24.0;  // more would hide the line of the model
constexpr std::size_t most_curves = plot_pens.size();

/// One curve of the test, with the model's where it has one.
struct ImpedanceLine {
    std::string label{};
    std::vector<double> frequency_hz{};
    std::vector<double> magnitude_ohm{};
    std::vector<double> phase_deg{};
    std::vector<double> model_ohm{};  // empty: no model
    std::vector<double> model_deg{};
    std::vector<double> doubt_ohm{};  // expanded; empty: none
    std::vector<double> doubt_deg{};
};

std::string what_was_done(const Session& session, const std::string& test) {
    const TestRecord* record = session.find(test);
    std::string words;
    if (record != nullptr) {
        if (const auto mass = number_condition(record->result, "added_mass_g")) {
            words = "with " + stated_text(*mass, "g") + " added";
        } else if (const auto box = number_condition(record->result, "test_box_l")) {
            words = "in a closed box of " + stated_text(*box, "L");
        }
    }
    return words;
}

std::vector<double> column_of(const analysis::Curve& curve, const std::string& name, std::size_t rows) {
    const auto* column = curve.find(name);
    return column != nullptr && column->size() == rows ? *column : std::vector<double>{};
}

/// The uncertainty of a fit's points stands with the impedance test that they come from.
const analysis::Curve* measured_curve(const Session& session, const TestRecord& record,
                                      const std::string& test, const analysis::Curve& curve) {
    if (record.result.measure == "impedance") return &curve;
    for (const TestRecord& other : session.tests) {
        if (other.result.measure != "impedance" || (!test.empty() && other.id != test)) continue;
        for (const auto& [name, candidate] : other.result.whole.curves) {
            const auto* frequency_hz = candidate.find("frequency_hz");
            const auto* magnitude_ohm = candidate.find("magnitude_ohm");
            const auto* fitted_ohm = curve.find("magnitude_ohm");
            const bool same = name == "impedance" && frequency_hz != nullptr && magnitude_ohm != nullptr &&
                              fitted_ohm != nullptr && *frequency_hz == *curve.find("frequency_hz") &&
                              *magnitude_ohm == *fitted_ohm;
            if (same) return &candidate;
        }
    }
    return nullptr;
}

std::vector<ImpedanceLine> lines_of(const Session& session, const TestRecord& record) {
    const std::string fit = "fit";
    const bool parameters = record.result.measure == "driver-parameters";
    std::vector<ImpedanceLine> lines;
    for (const auto& [name, curve] : record.result.whole.curves) {
        const bool one_of_fit = name == fit || name.starts_with(fit + "_");
        if (parameters ? !one_of_fit : name != "impedance") continue;
        const auto* frequency_hz = curve.find("frequency_hz");
        if (frequency_hz == nullptr || frequency_hz->size() < 2 || lines.size() == most_curves) continue;
        const std::size_t rows = frequency_hz->size();
        ImpedanceLine line;
        line.frequency_hz = *frequency_hz;
        line.magnitude_ohm = column_of(curve, "magnitude_ohm", rows);
        line.phase_deg = column_of(curve, "phase_deg", rows);
        if (line.magnitude_ohm.empty() || line.phase_deg.empty()) continue;
        line.model_ohm = column_of(curve, "model_magnitude_ohm", rows);
        line.model_deg = column_of(curve, "model_phase_deg", rows);
        const std::string test = parameters && name != fit ? name.substr(fit.size() + 1) : record.id;
        if (const auto* measured =
                measured_curve(session, record, parameters && name == fit ? "" : test, curve)) {
            line.doubt_ohm = column_of(*measured, "magnitude_expanded_uncertainty_ohm", rows);
            line.doubt_deg = column_of(*measured, "phase_expanded_uncertainty_deg", rows);
        }
        line.label = what_was_done(session, test);
        if (line.label.empty()) line.label = name == fit || !parameters ? "free air" : short_text(test, 30);
        for (std::size_t i = 0; i < rows; ++i) {
            if (line.frequency_hz[i] > 0.0 && line.magnitude_ohm[i] > 0.0) continue;
            line.magnitude_ohm[i] = line.phase_deg[i] = std::numeric_limits<double>::quiet_NaN();
        }
        lines.push_back(std::move(line));
    }
    return lines;
}

/// Fewer points, at even distances, for dots.
void thin_out(PlotCurve& curve) {
    double last = 0.0;
    PlotCurve kept;
    for (std::size_t i = 0; i < curve.y.size(); ++i) {
        const double f = curve.x[i];
        if (!(f > 0.0) || (last > 0.0 && std::log2(f / last) < 1.0 / dots_per_octave)) continue;
        last = f;
        kept.x.push_back(f);
        kept.y.push_back(curve.y[i]);
    }
    curve.x = std::move(kept.x);
    curve.y = std::move(kept.y);
}

/// A line, or dots with the model's line through them.
void add_curves(const ImpedanceLine& line, PlotCurve curve, const std::vector<double>& model,
                const std::vector<double>& doubt, PlotPanel& panel) {
    curve.x = line.frequency_hz;
    curve.band = band_along_y(curve.x, curve.y, doubt);
    if (model.empty()) {
        panel.curves.push_back(std::move(curve));
        return;
    }
    PlotCurve fitted{.name = curve.name + ", model",
                     .unit = curve.unit,
                     .x = curve.x,
                     .y = model,
                     .pen = curve.pen,
                     .legend = curve.legend};
    curve.legend = false;
    curve.look = PlotLook::dots;
    thin_out(curve);
    panel.curves.push_back(std::move(curve));
    panel.curves.push_back(std::move(fitted));
}

PlotScale frequencies_of(const std::vector<ImpedanceLine>& lines) {
    PlotEnds x;
    for (const ImpedanceLine& line : lines) {
        for (std::size_t i = 0; i < line.frequency_hz.size(); ++i) {
            if (std::isfinite(line.magnitude_ohm[i])) x.hold(line.frequency_hz[i]);
        }
    }
    return std::isfinite(x.low) ? frequency_scale(x.low, x.high) : PlotScale{};
}

void add_resonance(const TestRecord& record, const PlotScale& x, PlotPanel& panel) {
    for (const char* name : {"fs_hz", "resonance_hz"}) {
        const analysis::Quantity* fs = record.result.whole.find(name);
        if (fs == nullptr || !(fs->value > x.from) || !(fs->value < x.to)) continue;
        const std::string text = stated_text(to_digits(fs->value, 4), "Hz");
        panel.rules.push_back({.value = fs->value, .text = "fs " + text, .upright = true});
        return;
    }
}

void add_claims(const Session& session, const TestRecord& record, const PlotScale& x, PlotPanel& panel) {
    for (const JudgedClaim& claim : session.claims) {
        if (claim.test != record.id) continue;
        const bool upright = claim.quantity == "fs_hz" || claim.quantity == "resonance_hz";
        const bool level = claim.quantity == "minimum_ohm" || claim.quantity == "re_ohm" ||
                           claim.quantity == "impedance_1khz_ohm" || claim.quantity == "maximum_ohm";
        if (!upright && !level) continue;
        for (const ClaimedLimit& limit : claimed_limits(claim, upright ? "Hz" : "ohm")) {
            if (!(limit.value > 0.0) || (upright && (limit.value < x.from || limit.value > x.to))) continue;
            panel.rules.push_back({.value = limit.value,
                                   .text = limit.text,
                                   .upright = upright,
                                   .claim = true,
                                   .high = upright});
        }
    }
}

/// Whether the fit of another test draws this one's curve.
bool drawn_by_a_fit(const Session& session, const TestRecord& record) {
    if (record.result.measure == "driver-parameters") return false;
    // The curves of a fit bear the ids of their tests, but the first, which is drawn as "fit".
    return std::any_of(session.tests.begin(), session.tests.end(), [&](const TestRecord& other) {
        return other.result.measure == "driver-parameters" && !lines_of(session, other).empty();
    });
}

bool draws_impedance(const TestRecord& record) {
    return record.result.measure == "impedance" || record.result.measure == "driver-parameters";
}

}  // namespace

std::optional<TestPlot> impedance_plot(const Session& session, const TestRecord& record) {
    if (!draws_impedance(record)) return std::nullopt;
    const std::vector<ImpedanceLine> lines = lines_of(session, record);
    if (lines.empty() || drawn_by_a_fit(session, record)) return std::nullopt;
    PlotSheet sheet;
    sheet.x = frequencies_of(lines);
    PlotPanel magnitude;
    PlotPanel phase;
    PlotEnds ohm;
    double widest_deg = 90.0;
    bool model = false;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const ImpedanceLine& line = lines[i];
        for (const double value : line.magnitude_ohm) ohm.hold(value);
        for (const double value : line.phase_deg) {
            if (std::abs(value) > widest_deg) widest_deg = 180.0;
        }
        add_curves(line, {.name = line.label, .unit = "Ω", .y = line.magnitude_ohm, .pen = i, .legend = true},
                   line.model_ohm, line.doubt_ohm, magnitude);
        add_curves(line, {.name = line.label + ", phase", .unit = "°", .y = line.phase_deg, .pen = i},
                   line.model_deg, line.doubt_deg, phase);
        model = model || !line.model_ohm.empty();
    }
    add_resonance(record, sheet.x, magnitude);
    add_claims(session, record, sheet.x, magnitude);
    for (const PlotRule& rule : magnitude.rules) {
        if (!rule.upright) ohm.hold(rule.value);
    }
    if (!std::isfinite(ohm.low)) return std::nullopt;
    magnitude.y = {"impedance", "Ω", std::max(ohm.low * 0.8, 0.01), std::min(ohm.high * 1.3, 1e5), true, 0.0};
    for (PlotCurve& curve : magnitude.curves) {
        for (auto& [x, y] : curve.band) y = std::max(y, magnitude.y.from);
    }
    magnitude.share = 1.7;
    phase.y = {"phase", "°", -widest_deg, widest_deg, false, widest_deg / 2.0};
    sheet.panels = {std::move(magnitude), std::move(phase)};
    sheet.height = 450;
    TestPlot plot{
        "impedance",
        "Impedance against frequency: magnitude above, phase below. The peak is the resonance of cone "
        "and suspension; the rise to the right is the coil.",
        std::move(sheet)};
    plot.caption +=
        model ? " Dots: measured. Lines: the fitted model. Pale: uncertainty." : " Pale: uncertainty.";
    return plot;
}

std::optional<TestPlot> residual_plot(const Session& session, const TestRecord& record) {
    if (record.result.measure != "driver-parameters") return std::nullopt;
    const std::vector<ImpedanceLine> lines = lines_of(session, record);
    PlotPanel magnitude;
    PlotPanel phase;
    PlotEnds percent;
    PlotEnds degrees;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const ImpedanceLine& line = lines[i];
        if (line.model_ohm.empty() || line.model_deg.empty()) continue;
        PlotCurve ratio{.name = line.label, .unit = "%", .x = line.frequency_hz, .pen = i, .legend = true};
        PlotCurve angle{.name = line.label + ", phase", .unit = "°", .x = line.frequency_hz, .pen = i};
        for (std::size_t k = 0; k < line.frequency_hz.size(); ++k) {
            const bool given = line.model_ohm[k] > 0.0;
            ratio.y.push_back(given ? 100.0 * (line.magnitude_ohm[k] / line.model_ohm[k] - 1.0)
                                    : std::numeric_limits<double>::quiet_NaN());
            angle.y.push_back(std::remainder(line.phase_deg[k] - line.model_deg[k], 360.0));
            percent.hold(ratio.y.back());
            degrees.hold(angle.y.back());
        }
        magnitude.curves.push_back(std::move(ratio));
        phase.curves.push_back(std::move(angle));
    }
    if (magnitude.curves.empty() || !std::isfinite(percent.low)) return std::nullopt;
    const auto around_zero = [](const std::string& words, const std::string& unit, const PlotEnds& ends) {
        const double reach = series_above(1.05 * std::max({-ends.low, ends.high, 0.01}));
        return PlotScale{words, unit, -reach, reach, false, reach / 2.0};
    };
    magnitude.y = around_zero("magnitude", "%", percent);
    phase.y = around_zero("phase", "°", degrees);
    for (PlotPanel* panel : {&magnitude, &phase}) panel->rules.push_back({.value = 0.0, .text = ""});
    const auto from_hz = number_condition(record.result, "fit_from_hz");
    const auto to_hz = number_condition(record.result, "fit_to_hz");
    TestPlot plot{"residual",
                  "Measured less fitted model, magnitude above, phase below. A fit that holds leaves noise "
                  "around zero; a hill is something that the model does not know.",
                  {}};
    plot.sheet.x = frequencies_of(lines);
    for (const auto& [value, text] : {std::pair{from_hz, "fit from here"}, {to_hz, "fit to here"}}) {
        if (!value || *value <= 1.02 * plot.sheet.x.from || *value >= plot.sheet.x.to / 1.02) continue;
        for (PlotPanel* panel : {&magnitude, &phase})
            panel->rules.push_back({.value = *value, .text = text, .upright = true});
    }
    plot.sheet.panels = {std::move(magnitude), std::move(phase)};
    plot.sheet.height = 310;
    return plot;
}

}  // namespace assay::cli
