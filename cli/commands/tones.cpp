#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "capture/guard.h"
#include "cli/commands/commands.h"
#include "cli/commands/play_sheet/play_sheet.h"
#include "cli/commands/play_sheet/play_sheet_jig.h"
#include "cli/commands/play_sheet/player.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_file.h"
#include "cli/files/posix.h"
#include "cli/measures/fields.h"

namespace assay::cli {

namespace {

constexpr double level_set_below_limit_db = 9.0;
constexpr double level_set_in_jig_hz = 83.0;  // where any meter is good, and no multiple of the mains

capture::Tone level_set_tone(const LevelSet& level_set, double rate_hz) {
    const auto frames = [&](double seconds) {
        return static_cast<std::int64_t>(std::llround(seconds * rate_hz));
    };
    capture::Tone tone;
    tone.rate_hz = rate_hz;
    tone.segments.push_back({.first_frame = frames(0.5),
                             .frames = frames(level_set.seconds - 1.0),
                             .law = capture::SteadySine{level_set.frequency_hz, 0.0},
                             .level_dbfs = level_set.level_dbfs,
                             .fade_frames = frames(0.05),
                             .role = capture::SegmentRole::step});
    tone.frames = frames(level_set.seconds);
    return tone;
}

capture::Fault cannot_write(const std::filesystem::path& path, const std::string& why) {
    return {capture::FaultKind::bad_arguments, path.string() + ": cannot be made: " + why, std::nullopt,
            "choose a folder that you may write to"};
}

}  // namespace

int run_tones(const TonesOptions& options, const Manner& manner) {
    auto bench = read_bench(options.bench);
    if (!bench) return report(bench.error());
    const double rate_hz = options.rate_hz.value_or(bench->sample_rate_hz);
    const auto job = read_job(options.job, *bench, rate_hz);
    if (!job) return report(job.error());

    std::vector<SheetEntry> entries;
    LevelSet level_set;
    level_set.level_dbfs = -1.0;
    std::vector<std::size_t> level_set_outputs;
    for (const Test& test : job->tests) {
        const Measure& measure = *find_measure(test.measure);
        if (!measure.plays) continue;
        const Setup setup{&*bench, &test, rate_hz};
        auto tone = measure.next(setup, {});
        if (!tone && test.number("power_w")) {
            const TestResult told = measure.evaluate(setup, {});
            if (told.fault && told.fault->kind == capture::FaultKind::bad_input_file) {
                capture::Fault fault = *told.fault;
                fault.text = options.job.string() + ": test \"" + test.id + "\": " + fault.text;
                return report(fault);
            }
        }
        if (!tone) continue;
        if (const auto guarded = capture::check_tone(*bench, outputs_of(setup), *tone); !guarded)
            return report(guarded.error());
        if (entries.empty()) {
            level_set.frequency_hz =
                sits_in_jig(test) ? level_set_in_jig_hz : field_number(test, "frequency_hz");
            level_set_outputs = outputs_of(setup);
        }
        level_set.level_dbfs = std::min(level_set.level_dbfs, limit_dbfs(setup));
        entries.push_back({&test, std::move(*tone)});
    }
    level_set.level_dbfs -= level_set_below_limit_db;

    std::error_code error;
    std::filesystem::create_directories(options.into, error);
    if (error) return report(cannot_write(options.into, error.message()));
    const ToneFileOptions file_options{options.bits, options.dither};
    for (const SheetEntry& entry : entries) {
        if (entry.tone.segments.empty()) continue;  // nothing is played: the sheet says what to record
        const Setup setup{&*bench, entry.test, rate_hz};
        const auto path = options.into / (entry.test->id + ".wav");
        if (const auto written = write_tone_file(entry.tone, *bench, outputs_of(setup), path, file_options);
            !written)
            return report(written.error());
        say(manner, fmt::format("{}  {:.0f} s", path.string(), entry.tone.duration_s()));
    }
    if (!entries.empty()) {
        const auto written = write_tone_file(level_set_tone(level_set, rate_hz), *bench, level_set_outputs,
                                             options.into / "level-set.wav", file_options);
        if (!written) return report(written.error());
    }
    const auto written =
        write_file_safely(options.into / "PLAY.txt", play_sheet(*job, *bench, entries, level_set));
    if (!written) return report(written.error());
    say(manner, fmt::format("{}  read this first", (options.into / "PLAY.txt").string()));
    return exit_done;
}

}  // namespace assay::cli
