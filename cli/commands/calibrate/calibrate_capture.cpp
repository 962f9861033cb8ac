// Calibrations that are captures: the loopback of an output into an input, and the match of the jig's inputs.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <system_error>

#include "analysis/units.h"
#include "capture/device/live.h"
#include "capture/guard.h"
#include "capture/tone/staircase.h"
#include "cli/commands/calibrate/calibrating.h"
#include "cli/commands/calibrate/loopback_findings.h"
#include "cli/commands/cautions.h"
#include "cli/commands/new_file.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/curves/match_file.h"
#include "cli/files/curves/response_file.h"
#include "cli/files/posix.h"
#include "cli/measures/fields.h"
#include "cli/measures/match.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/response.h"
#include "cli/measures/steps/staircase_reading.h"
#include "cli/measures/sweep/response_reading.h"

namespace assay::cli {

namespace {

namespace fs = std::filesystem;
using capture::FaultKind;
using capture::Result;

constexpr double loopback_from_dbfs = -60.0;
constexpr double loopback_step_db = 3.0;
constexpr double loopback_hz = 997.0;
constexpr double sweep_dbfs = -20.0;
constexpr double clean_thd = 1e-4;  // -80 dB: a tenth of the lowest limit that is usual

/// A folder for the captures of this command, taken away at the end.
class ScratchFolder {
  public:
    explicit ScratchFolder(const fs::path& beside) {
        std::error_code error;
        // A folder of that name that is there already is somebody's own: it is left alone.
        for (int number = 1; !error; ++number) {
            path_ = fs::path(beside).replace_extension(number == 1 ? ".calibration"
                                                                   : fmt::format(".calibration-{}", number));
            if (fs::create_directory(path_, error)) return;
        }
    }
    ScratchFolder(const ScratchFolder&) = delete;
    ScratchFolder& operator=(const ScratchFolder&) = delete;
    ~ScratchFolder() {
        std::error_code error;
        fs::remove_all(path_, error);
    }
    const fs::path& path() const { return path_; }

  private:
    fs::path path_;
};

/// The card alone, as a bench with one load that is none.
struct Loopback {
    capture::Bench bench{};
    Test test{};
};

Result<Loopback> loopback_of(const CalibrateOptions& options) {
    auto bench = read_bench(options.bench);
    if (!bench) return tl::unexpected<capture::Fault>(bench.error());
    const auto index = find_part(bench->inputs, options.name, "input", "name one with --name");
    if (!index) return tl::unexpected<capture::Fault>(index.error());
    if (bench->outputs.empty())
        return capture::fail(FaultKind::bad_input_file,
                             options.bench.string() + ": the bench has no [[output]] to play on", "add it");
    Loopback loopback;
    capture::Load none;
    none.name = "loopback";
    none.resistance_ohm = std::numeric_limits<double>::infinity();
    none.driven_by = all_outputs(*bench);
    none.plus = *index;
    bench->loads = {none};
    loopback.bench = std::move(*bench);
    loopback.test.id = "loopback";
    loopback.test.measure = "distortion";
    loopback.test.loads = {0};
    return loopback;
}

/// Asks whether the leads are as told; nothing has sounded yet.
Result<void> ask_connected(const capture::Tone& tone, const CalibrateOptions& options) {
    auto questions = Questions::open(options.answers);
    if (!questions) return tl::unexpected<capture::Fault>(questions.error());
    const auto ready =
        questions->yes({"connected",
                        fmt::format("It plays up to {:.1f} dBFS for {:.0f} s. Connected as told?",
                                    tone.peak_dbfs(), tone.duration_s()),
                        ""});
    if (!ready) return tl::unexpected<capture::Fault>(ready.error());
    if (!*ready) return capture::fail(FaultKind::stopped, "stopped by hand: nothing was played");
    return {};
}

Result<Take> capture_tone(const Setup& setup, capture::Tone tone, const CalibrateOptions& options,
                          const Manner& manner, const fs::path& into, capture::LiveDevices* used = nullptr) {
    if (auto guarded = capture::check_tone(*setup.bench, outputs_of(setup), tone); !guarded)
        return tl::unexpected<capture::Fault>(guarded.error());
    auto choice = choose_sound(*setup.bench, options.bench.string(), true);
    if (!choice) return tl::unexpected<capture::Fault>(choice.error());
    capture::LiveDevice device(*setup.bench, choice->library, choice->devices);
    if (used != nullptr) *used = choice->devices;
    Take take{std::move(tone), {}};
    capture::PlayRequest request;
    request.capture_name = setup.test->id;
    request.tone = &take.tone;
    request.outputs = outputs_of(setup);
    request.into = into;
    request.progress = [&](double done) { show_progress(manner, setup.test->id, done); };
    auto recording = device.play_and_record(request, stop_requested());
    end_progress(manner);
    if (!recording) return tl::unexpected<capture::Fault>(recording.error());
    take.recording = std::move(*recording);
    return take;
}

/// The response over the widest band that the rate gives.
Result<CardResponse> sweep_of(const Loopback& loopback, double level_dbfs, const CalibrateOptions& options,
                              const Manner& manner, const fs::path& into) {
    Test test = loopback.test;
    test.id = "loopback-response";
    test.measure = "response";
    test.fields["drive_dbfs"] = level_dbfs;
    const Setup setup{.bench = &loopback.bench,
                      .test = &test,
                      .tone_rate_hz = loopback.bench.sample_rate_hz,
                      .named = {},
                      .folder = {}};
    auto tone = response::measure().next(setup, {});
    if (!tone) return capture::fail(FaultKind::internal, "the loopback has no sweep", "");
    capture::LiveDevices used;
    const auto take = capture_tone(setup, std::move(*tone), options, manner, into, &used);
    if (!take) return tl::unexpected<capture::Fault>(take.error());
    const auto reading = read_response(setup, *take);
    if (!reading) return tl::unexpected<capture::Fault>(reading.error());
    const capture::Input& input = loopback.bench.inputs[loopback.bench.loads[0].plus];
    CardResponse card = card_response_of(*reading, input, take->recording.rate_hz, today());
    if (used.playback) card.playback_device = used.playback->host_api + ": " + used.playback->name;
    card.record_device = used.record.host_api + ": " + used.record.name;
    return card;
}

double card_db(const CardResponse& card, double frequency_hz) {
    return analysis::decibels(std::abs(card.at(frequency_hz)));
}

}  // namespace

int run_calibrate_loopback(const CalibrateOptions& options, const Manner& manner) {
    const auto loopback = loopback_of(options);
    if (!loopback) return report(loopback.error());
    const Setup setup{.bench = &loopback->bench,
                      .test = &loopback->test,
                      .tone_rate_hz = loopback->bench.sample_rate_hz,
                      .named = {},
                      .folder = {}};
    const capture::Input& input = loopback->bench.inputs[loopback->bench.loads[0].plus];
    say(manner,
        fmt::format(
            "Before the first tone: amplifiers, loudspeakers and headphones off; the tones are loud.\n"
            "Connect the card's output straight to its input {} \"{}\": no unit, no divider between.",
            input.channel, input.name));
    capture::StaircaseOptions stairs{.rate_hz = setup.tone_rate_hz,
                                     .frequency_hz = loopback_hz,
                                     .levels_dbfs = {},
                                     .step_s = 0.5,
                                     .code = "loopback"};
    const double top = limit_dbfs(setup);
    for (double level = loopback_from_dbfs; level < top - 1e-9; level += loopback_step_db)
        stairs.levels_dbfs.push_back(level);
    stairs.levels_dbfs.push_back(top);
    const ScratchFolder folder(options.bench);
    capture::Tone tone = capture::make_staircase(stairs);
    if (const auto ready = ask_connected(tone, options); !ready) return report(ready.error());
    const auto take = capture_tone(setup, std::move(tone), options, manner, folder.path());
    if (!take) return report(take.error());
    const auto reading = read_staircase(setup, *take);
    if (!reading) return report(reading.error());
    std::string table = "  played dBFS  input dBFS       THD %     THD+N %\n";
    std::optional<double> clean_up_to;
    double own_thd = 0.0;
    bool still_clean = true;
    std::vector<LoopbackLevel> levels;
    for (const LoadStep& step : reading->loads[0]) {
        const bool sound = step.state == StepState::sound;
        table += fmt::format(
            "  {:11.1f}  {:10.2f}  {:>10}  {:>10}\n", step.reading.level_dbfs, step.plus_peak_dbfs,
            sound ? fmt::format("{:.5f}", 100.0 * step.reading.thd) : std::string("overload"),
            sound ? fmt::format("{:.5f}", 100.0 * step.reading.thd_plus_noise) : std::string());
        // Noise hides the distortion of faint steps: they say nothing against the input.
        const bool clean =
            sound && (step.reading.thd < clean_thd || step.reading.thd < 3.0 * step.reading.thd_noise);
        still_clean = still_clean && clean;
        if (!still_clean) continue;
        clean_up_to = step.plus_peak_dbfs;
        const double heard =
            step.reading.fundamental_v * std::numbers::sqrt2 / std::abs(input.volts_per_unit());
        levels.push_back({step.reading.level_dbfs, analysis::floored_decibels(heard, 1e-10),
                          db_per_relative * step.reading.fundamental_doubt_v / step.reading.fundamental_v});
        if (step.plus_peak_dbfs > -30.0) own_thd = std::max(own_thd, step.reading.thd);
    }
    const double noise_dbfs = analysis::floored_decibels(
        reading->loads[0].front().reading.noise_v * std::numbers::sqrt2 / std::abs(input.volts_per_unit()),
        1e-10);
    if (!clean_up_to) {
        return report({FaultKind::untrusted_capture,
                       fmt::format("input \"{}\" is not clean at any level (THD above {:.3g} %)", input.name,
                                   100.0 * clean_thd),
                       std::nullopt, "look at the cable, the mixer's levels and effects, then try again"});
    }
    const double level = std::floor(10.0 * std::min(*clean_up_to, 0.0)) / 10.0;
    if (const auto follows = judge_levels(levels, input.name); !follows) return report(follows.error());
    auto card =
        sweep_of(*loopback, std::min(sweep_dbfs, levels.back().played_dbfs), options, manner, folder.path());
    if (!card) return report(card.error());
    if (const auto whole = judge_band(*card); !whole) return report(whole.error());
    // The loudest clean step: what noise adds to it is nothing.
    card->gain_db = levels.back().heard_dbfs - levels.back().played_dbfs;
    const fs::path file =
        fs::path(options.bench).replace_extension(fmt::format(".loopback-{}.json", input.channel));
    BenchEdits edits{{"clean_up_to_dbfs", fmt::format("{:.1f}", level)},
                     {"own_thd_percent", fmt::format("{:.3g}", 100.0 * own_thd)},
                     {"response", toml_text(file.filename().string())}};
    const auto edited = edited_bench(options.bench, "input", input.name, edits);
    if (!edited) return report(edited.error());
    if (const auto written = write_file_safely(file, card_response_text(*card)); !written)
        return report(written.error());
    if (const auto written = write_file_safely(options.bench, *edited); !written)
        return report(written.error());
    print_answer(
        manner,
        manner.json
            ? fmt::format("{{\"input\": {}, \"clean_up_to_dbfs\": {:.1f}, \"own_thd_percent\": {:.4g}, "
                          "\"noise_dbfs\": {:.1f}, \"round_trip_s\": {:.5f}}}\n",
                          json_text(input.name), level, 100.0 * own_thd, noise_dbfs,
                          reading->placement.start_s)
            : table + fmt::format("input \"{}\": clean up to {:.1f} dBFS (THD below {:.3g} %), own "
                                  "THD {:.3g} %, noise {:.1f} dBFS; round "
                                  "trip {:.1f} ms; {:+.2f} dB at 20 Hz and {:+.2f} dB at 20 kHz re 1 kHz, "
                                  "written to {}\n",
                                  input.name, level, 100.0 * clean_thd, 100.0 * own_thd, noise_dbfs,
                                  1e3 * reading->placement.start_s, card_db(*card, 20.0),
                                  card_db(*card, 20000.0), file.filename().string()));
    return exit_done;
}

int run_calibrate_match(const CalibrateOptions& options, const Manner& manner) {
    const auto bench = read_bench(options.bench);
    if (!bench) return report(bench.error());
    if (!bench->jig)
        return report({FaultKind::bad_input_file, options.bench.string() + ": there is no [impedance_jig]",
                       std::nullopt, "add it"});
    Test test;
    test.id = "match";
    test.measure = "match";
    const Setup setup{.bench = &*bench,
                      .test = &test,
                      .tone_rate_hz = bench->sample_rate_hz,
                      .named = {},
                      .folder = options.bench.parent_path()};
    const Measure measure = match::measure();
    if (measure.check) {
        if (const auto good = measure.check(setup); !good) return report(good.error());
    }
    auto tone = measure.next(setup, {});
    if (!tone) return report({FaultKind::internal, "the match has no tone", std::nullopt, ""});
    say(manner, cautions_text(UnitKind::driver));
    say(manner,
        fmt::format("Put both inputs, \"{}\" and \"{}\", on the generator's end of the series resistor.",
                    bench->inputs[bench->jig->generator_side].name,
                    bench->inputs[bench->jig->driver_side].name));
    const ScratchFolder folder(options.bench);
    if (const auto ready = ask_connected(*tone, options); !ready) return report(ready.error());
    auto take = capture_tone(setup, std::move(*tone), options, manner, folder.path());
    if (!take) return report(take.error());
    const std::vector<Take> takes{std::move(*take)};
    const auto match = match_of(setup, takes);
    if (!match) return report(match.error());
    const fs::path file = fs::path(options.bench).replace_extension(".match.json");
    if (const auto written = write_file_safely(file, match_text(*match)); !written)
        return report(written.error());
    const BenchEdits edits{{"match", toml_text(file.filename().string())}, {"matched_on", today()}};
    if (const auto written = write_bench_edits(options.bench, "impedance_jig", "", edits); !written)
        return report(written.error());
    const MatchPoint at = match->at(1000.0);
    print_answer(manner, manner.json ? fmt::format("{{\"match\": {}, \"ratio_1khz\": {:.9g}}}\n",
                                                   json_text(file.filename().string()), std::abs(at.ratio))
                                     : fmt::format("match: {} points, ratio at 1 kHz {:.6f}; written to {}\n",
                                                   match->points.size(), std::abs(at.ratio), file.string()));
    return exit_done;
}

}  // namespace assay::cli
