#include "cli/commands/live/scale_check.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "analysis/units.h"
#include "cli/commands/calibrate/calibrating.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::InputRole;
using capture::Result;

constexpr double coverage = 2.0;
constexpr double far_off = 0.1;  // of the stated volts: less is crosstalk from another output

std::string volts_text(double volts) {
    return volts < 1.0 ? fmt::format("{:.4g} mV", 1e3 * volts) : fmt::format("{:.4g} V", volts);
}

std::string apart_text(const ScaleComparison& one) {
    return fmt::format("{:.1f} % {}", 100.0 * std::abs(one.difference()),
                       one.difference() > 0.0 ? "more" : "less");
}

}  // namespace

std::vector<ScaleComparison> compare_scales(const Setup& setup, const std::vector<HeardOutput>& heard,
                                            double level_dbfs, double frequency_hz) {
    const capture::Bench& bench = *setup.bench;
    std::map<std::size_t, ScaleComparison> loudest;  // by input
    for (const HeardOutput& take : heard) {
        const auto scale = bench.outputs[take.output].volts_at_full_scale;
        if (!scale) continue;
        const double stated_v = *scale / std::numbers::sqrt2 * analysis::ratio_from_decibels(level_dbfs);
        for (std::size_t index = 0; index < take.inputs.size(); ++index) {
            const capture::Input& input = bench.inputs[index];
            const HeardInput& here = take.inputs[index];
            if (input.role != InputRole::reference || !here.present) continue;
            const double heard_v = here.volts_rms * scale_correction(input, frequency_hz);
            if (heard_v < far_off * stated_v || heard_v < loudest[index].heard_v) continue;
            const double doubt = std::hypot(scale_doubt(input), response_doubt(setup, input, frequency_hz),
                                            here.doubt_v / here.volts_rms);
            loudest[index] = {take.output, index, heard_v, stated_v,
                              std::max(least_allowed, coverage * doubt)};
        }
    }
    std::vector<ScaleComparison> compared;
    for (const auto& [index, one] : loudest) {
        if (one.stated_v > 0.0) compared.push_back(one);
    }
    return compared;
}

Result<std::vector<TrustRemark>> judge_scales(const Setup& setup,
                                              const std::vector<ScaleComparison>& compared) {
    std::vector<TrustRemark> remarks;
    for (const ScaleComparison& one : compared) {
        const double apart = std::abs(one.difference());
        if (apart <= one.allowed) continue;
        const std::string& output = setup.bench->outputs[one.output].name;
        const std::string& input = setup.bench->inputs[one.input].name;
        std::string text = fmt::format(
            "a scale has moved since it was found: reference input \"{}\" shows {} where output \"{}\" "
            "should give {}, {}; {:.1f} % is what their doubts allow",
            input, volts_text(one.heard_v), output, volts_text(one.stated_v), apart_text(one),
            100.0 * one.allowed);
        std::string mend = fmt::format(
            "set volume and gain of the mixer and the card back to where they were, or find the scales anew: "
            "`assay calibrate output --name {}` and `assay calibrate input --input {}`, then every other "
            "input of the card",
            output, input);
        if (apart > refused_above || 1.0 / (1.0 + one.difference()) - 1.0 > refused_above)
            return capture::fail(FaultKind::untrusted_capture, "wiring check: " + text, mend);
        remarks.push_back({scale_moved, std::move(text), std::move(mend), apart > stops_above});
    }
    return remarks;
}

std::vector<std::string> scale_lines(const Setup& setup, const std::vector<ScaleComparison>& compared) {
    std::vector<std::string> lines;
    lines.reserve(compared.size());
    for (const ScaleComparison& one : compared) {
        lines.push_back(fmt::format("  output \"{}\" -> reference \"{}\": {}, {} than its scale says",
                                    setup.bench->outputs[one.output].name,
                                    setup.bench->inputs[one.input].name, volts_text(one.heard_v),
                                    apart_text(one)));
    }
    return lines;
}

}  // namespace assay::cli
