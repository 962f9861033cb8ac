#include "capture/tone/impedance_tone.h"

#include <array>

#include "capture/tone/head.h"

namespace assay::capture {

namespace {

constexpr double chirp_hz = 997.0;  // far from most resonances and below the reach of most coils
constexpr double fade_s = 0.05;
// Unequal, so that a row of marks fits itself in one place only; wide, so that it tells the clock's ratio.
constexpr std::array<double, 4> mark_gaps_s{0.17, 0.23, 0.19, 0.29};

}  // namespace

Tone make_impedance_tone(const ImpedanceToneOptions& options) {
    ToneBuilder builder(options.rate_hz, chirp_hz, options.code);
    const Multitone law{impedance_period_s, options.start_hz, options.stop_hz, Multitone{}.lines_per_octave};
    const auto add_marks = [&](double level_dbfs) {
        for (const double gap_s : mark_gaps_s) {
            builder.add_mark(level_dbfs);
            builder.wait(gap_s);
        }
        builder.add_mark(level_dbfs);
    };
    const auto add_step = [&](int periods, double level_dbfs) {
        add_marks(level_dbfs);
        const double step_s = impedance_settling_s + periods * impedance_period_s + impedance_end_s;
        builder.add(builder.frames_of(step_s), law, level_dbfs, builder.frames_of(fade_s), SegmentRole::step);
    };
    builder.add_head(options.level_dbfs - impedance_step_db);
    add_step(impedance_periods_low, options.level_dbfs - impedance_step_db);
    add_step(impedance_periods, options.level_dbfs);
    add_marks(options.level_dbfs);
    return builder.finish();
}

}  // namespace assay::capture
