#include "capture/tone/response_tone.h"

#include <algorithm>
#include <cmath>

#include "capture/tone/head.h"

namespace assay::capture {

namespace {

constexpr double pilot_s = 0.6;
constexpr double gap_s = 0.2;  // so that the steady tone has died away when the sweep's first cycles come
constexpr double sweep_fade_s = 0.02;
// The sweep goes further than the band that is measured, so that its ends do not disturb it.
constexpr double below_start = 0.5;
constexpr double above_stop = 1.1;
constexpr double highest_share_of_rate = 0.49;

}  // namespace

Tone make_response_tone(const ResponseToneOptions& options) {
    ToneBuilder builder(options.rate_hz, response_pilot_hz, options.code);
    const double from_hz = below_start * options.start_hz;
    const double to_hz = std::max(
        options.stop_hz, std::min(above_stop * options.stop_hz, highest_share_of_rate * options.rate_hz));
    const double sweep_s = response_growth_s * std::log(to_hz / from_hz);
    const std::int64_t fade = builder.frames_of(sweep_fade_s);
    const double top_dbfs = options.levels_dbfs.back();
    // All marks alike, loud enough to be heard and not so loud that a unit at its limit spoils them.
    const double mark_dbfs = 0.5 * (options.levels_dbfs.front() + top_dbfs);
    const auto add_pilot = [&](double level_dbfs) {
        builder.add_mark(mark_dbfs);
        builder.add(builder.frames_of(pilot_s), SteadySine{response_pilot_hz, 0.0}, level_dbfs, fade,
                    SegmentRole::step);
    };
    builder.add_head(top_dbfs - head_below_top_db);
    for (const double level_dbfs : options.levels_dbfs) {
        add_pilot(level_dbfs);
        builder.add_mark(mark_dbfs);
        builder.wait(gap_s);
        builder.add(builder.frames_of(sweep_s), LogSweep{from_hz, response_growth_s}, level_dbfs, fade,
                    SegmentRole::step);
        builder.wait(response_decay_s);
        add_pilot(level_dbfs);
    }
    builder.add_mark(mark_dbfs);
    return builder.finish();
}

}  // namespace assay::capture
