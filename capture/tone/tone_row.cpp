#include "capture/tone/tone_row.h"

#include "capture/tone/head.h"

namespace assay::capture {

namespace {
constexpr double mark_hz = 997.0;
constexpr double row_fade_s = 0.003;
}  // namespace

Tone make_tone_row(const ToneRowOptions& options) {
    ToneBuilder builder(options.rate_hz, mark_hz, options.code);
    const std::int64_t fade = builder.frames_of(row_fade_s);
    builder.add_head(options.head_dbfs);
    double mark_dbfs = options.mark_dbfs;
    for (const RowStep& step : options.steps) {
        if (options.marks_follow) mark_dbfs = step.level_dbfs;
        builder.add_mark(mark_dbfs);
        builder.add(builder.frames_of(step.step_s), step.law, step.level_dbfs, fade, SegmentRole::step);
    }
    builder.add_mark(mark_dbfs);
    return builder.finish();
}

}  // namespace assay::capture
