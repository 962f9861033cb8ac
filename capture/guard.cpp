#include "capture/guard.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "capture/units.h"

namespace assay::capture {

namespace {

// Room for the rounding of a logarithm, far below anything that can be heard or measured.
constexpr double tolerance_db = 1e-9;

std::string level_text(double level_dbfs, const Output& output) {
    if (!output.volts_at_full_scale) return fmt::format("{:.2f} dBFS", level_dbfs);
    const double peak_v = *output.volts_at_full_scale * ratio_from_decibels(level_dbfs);
    return fmt::format("{:.2f} dBFS ({:.3f} V peak)", level_dbfs, peak_v);
}

double seconds(const Tone& tone, std::int64_t frame) {
    return static_cast<double>(frame) / tone.rate_hz;
}

Result<void> check_shape(const Tone& tone) {
    std::int64_t free_from = 0;
    for (const Segment& segment : tone.segments) {
        const double at_s = seconds(tone, segment.first_frame);
        if (segment.frames <= 0 || segment.first_frame < free_from ||
            segment.first_frame + segment.frames > tone.frames) {
            return fail(
                FaultKind::internal,
                fmt::format("the tone's segment at {:.3f} s overlaps another or leaves the tone", at_s));
        }
        if (!std::isfinite(segment.level_dbfs)) {
            return fail(FaultKind::internal,
                        fmt::format("the tone's segment at {:.3f} s has no level", at_s));
        }
        if (segment.fade_frames <= 0 || 2 * segment.fade_frames > segment.frames) {
            return fail(FaultKind::internal,
                        fmt::format("the tone's segment at {:.3f} s does not fade in and out", at_s));
        }
        free_from = segment.first_frame + segment.frames;
    }
    return {};
}

std::string heat_text(const Load& load, const Tone& tone, const LoadHeat& heat) {
    const std::string figures =
        fmt::format("{}: {:.0f} W·s in {:.1f} s, {:.1f} W on average, {:.1f} W at most", load.name,
                    heat.energy_ws, tone.duration_s(), heat.average_power_w, heat.highest_power_w);
    switch (heat.verdict) {
        case LoadHeat::Verdict::no_power:
            return fmt::format("{}: takes no power", load.name);
        case LoadHeat::Verdict::unrated:
            return figures + "; its rating is not known, so look at the resistor's print";
        case LoadHeat::Verdict::within:
            return fmt::format("{}; within its {:.1f} W", figures, *heat.rating_w);
        case LoadHeat::Verdict::within_average:
            return fmt::format("{}; above its {:.1f} W for {:.1f} s, within it on average", figures,
                               *heat.rating_w, heat.above_rating_s);
        case LoadHeat::Verdict::over:
            return fmt::format("{}; MORE THAN ITS {:.1f} W: it may burn, use a larger load or a heatsink",
                               figures, *heat.rating_w);
    }
    return figures;
}

}  // namespace

Result<void> check_tone(const Bench& bench, std::span<const std::size_t> outputs, const Tone& tone) {
    if (auto shape = check_shape(tone); !shape) return shape;
    for (const std::size_t index : outputs) {
        if (index >= bench.outputs.size())
            return fail(FaultKind::internal, "the tone is for an output that is not there");
        const Output& output = bench.outputs[index];
        const double limit_dbfs = output.limit_dbfs();
        const auto loud = std::find_if(
            tone.segments.begin(), tone.segments.end(),
            [&](const Segment& segment) { return segment.level_dbfs > limit_dbfs + tolerance_db; });
        if (loud == tone.segments.end()) continue;
        return fail(FaultKind::bad_input_file,
                    fmt::format("output \"{}\": {:.3f} s into the tone it would play {}, the bench allows {}",
                                output.name, seconds(tone, loud->first_frame),
                                level_text(loud->level_dbfs, output), level_text(limit_dbfs, output)),
                    "lower the test's level (drive_volts, drive_dbfs, to_dbfs), or raise the output's "
                    "maximum if what "
                    "it feeds can bear it");
    }
    return {};
}

LoadHeat heat_in_load(const Load& load, const Tone& tone, double power_at_peak_w) {
    LoadHeat heat;
    if (std::isinf(load.resistance_ohm) || tone.segments.empty()) {
        heat.verdict = LoadHeat::Verdict::no_power;
        heat.text = heat_text(load, tone, heat);
        return heat;
    }
    const double peak_dbfs = tone.peak_dbfs();
    heat.highest_power_w = power_at_peak_w;
    heat.energy_ws = power_at_peak_w * tone.energy_s() / power_ratio_from_decibels(peak_dbfs);
    heat.average_power_w = heat.energy_ws / tone.duration_s();
    heat.rating_w = load.rated_power_no_heatsink_w ? load.rated_power_no_heatsink_w : load.rated_power_w;
    if (heat.rating_w) {
        for (const Segment& segment : tone.segments) {
            const double power_w =
                power_at_peak_w * power_ratio_from_decibels(segment.level_dbfs - peak_dbfs);
            if (power_w > *heat.rating_w) heat.above_rating_s += seconds(tone, segment.frames);
        }
        heat.verdict = heat.average_power_w > *heat.rating_w ? LoadHeat::Verdict::over
                       : heat.above_rating_s > 0.0           ? LoadHeat::Verdict::within_average
                                                             : LoadHeat::Verdict::within;
    }
    heat.text = heat_text(load, tone, heat);
    return heat;
}

}  // namespace assay::capture
