#include "capture/tone/staircase.h"

#include <algorithm>

#include "capture/tone/head.h"

namespace assay::capture {

double shortest_step_s(double frequency_hz) {
    return std::max(0.16, 16.0 / frequency_hz);
}

Tone make_staircase(const StaircaseOptions& options) {
    const double f = options.frequency_hz;
    ToneBuilder builder(options.rate_hz, f, options.code);
    const std::int64_t step_frames = builder.frames_of(std::max(options.step_s, shortest_step_s(f)));
    const std::int64_t fade = builder.frames_of(0.003);
    const auto [bottom, top] = std::minmax_element(options.levels_dbfs.begin(), options.levels_dbfs.end());
    builder.add_head(std::max(*top - head_below_top_db, *bottom));
    for (const double level : options.levels_dbfs) {
        builder.add_mark(level);
        builder.add(step_frames, SteadySine{f, 0.0}, level, fade, SegmentRole::step);
    }
    builder.add_mark(options.levels_dbfs.back());
    return builder.finish();
}

}  // namespace assay::capture
