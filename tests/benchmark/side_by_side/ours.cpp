// Our half of tests/benchmark/side_by_side.py. `side_by_side FOLDER plan` writes down how the tones of
// FOLDER's job are laid out, as whoever made them knows it. `side_by_side FOLDER work REPEATS` reads the
// recordings, and then prints as JSON, for each job, processor and wall milliseconds of the work, the best of
// the repeats:
//   like   what the script of SciPy does too, from samples in memory to its numbers, by the analysis library
//   whole  all that the program does with a recording: reads the file, looks for lost blocks, places the
//   tone, measures,
//          gives every number its doubts
#include <fmt/format.h>
#include <time.h>

#include <algorithm>
#include <chrono>
#include <complex>
#include <filesystem>
#include <functional>
#include <map>
#include <nlohmann/json.hpp>

#include "analysis/amplifier/steady_step.h"
#include "analysis/driver/fit_start.h"
#include "analysis/driver/jig_correction.h"
#include "analysis/driver/line_transfer.h"
#include "analysis/signal/signal.h"
#include "analysis/signal/sweep_response.h"
#include "capture/recording.h"
#include "capture/tone/impedance_tone.h"
#include "capture/tone/response_tone.h"
#include "cli/commands/program/kept_memory.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_file.h"
#include "cli/measures/measure.h"
#include "cli/measures/recording/tone_plan.h"

namespace {

using namespace assay;
using Json = nlohmann::ordered_json;

// As the script has it too: what of a step is measured, and how finely a response is read.
constexpr double settle_s = 0.06;
constexpr double end_guard_s = 0.005;
constexpr int response_per_octave = 24;

double processor_ms() {
    timespec now{};
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return 1e3 * static_cast<double>(now.tv_sec) + 1e-6 * static_cast<double>(now.tv_nsec);
}

Json timed(int repeats, const std::function<void()>& work) {
    double best_ms = 1e300;
    double best_wall_ms = 1e300;
    for (int k = 0; k < repeats; ++k) {
        const auto began = std::chrono::steady_clock::now();
        const double before_ms = processor_ms();
        work();
        best_ms = std::min(best_ms, processor_ms() - before_ms);
        const std::chrono::duration<double, std::milli> took = std::chrono::steady_clock::now() - began;
        best_wall_ms = std::min(best_wall_ms, took.count());
    }
    return {{"cpu_ms", best_ms}, {"wall_ms", best_wall_ms}};
}

/// A job on its bench; each test that plays has a tone and, where it is wanted, a recording in memory.
struct Folder {
    capture::Bench bench{};
    cli::Job job{};
    std::map<std::string, cli::Take> takes{};
    std::map<std::string, std::vector<std::vector<float>>> samples{};

    const cli::Test& test(const std::string& id) const {
        return *std::find_if(job.tests.begin(), job.tests.end(),
                             [&](const cli::Test& one) { return one.id == id; });
    }
    cli::Setup setup(const std::string& id) const {
        cli::Setup setup{&bench, &test(id), bench.sample_rate_hz};
        setup.named = [this](const std::string& name) -> std::optional<cli::NamedTest> {
            const auto found = takes.find(name);
            if (found == takes.end()) return std::nullopt;
            return cli::NamedTest{&test(name), std::span(&found->second, 1)};
        };
        return setup;
    }
};

[[noreturn]] void give_up(const std::string& why) {
    fmt::print(stderr, "side_by_side: {}\n", why);
    std::exit(1);
}

template <class T>
T must(capture::Result<T> result) {
    if (!result) give_up(result.error().text);
    return std::move(*result);
}

Folder read_folder(const std::filesystem::path& path, bool with_recordings) {
    Folder folder;
    folder.bench = must(cli::read_bench(path / "bench.toml"));
    folder.job = must(cli::read_job(path / "job.toml", folder.bench, folder.bench.sample_rate_hz));
    for (const cli::Test& test : folder.job.tests) {
        auto tone = cli::find_measure(test.measure)->next(folder.setup(test.id), {});
        if (!tone) continue;
        cli::Take& take = folder.takes[test.id];
        take.tone = std::move(*tone);
        if (!with_recordings) continue;
        take.recording = must(capture::open_recording(path / "recordings" / (test.id + ".wav")));
        auto reader = must(capture::RecordingReader::open(take.recording));
        std::vector<int> channels;
        for (int channel = 1; channel <= take.recording.channels; ++channel) channels.push_back(channel);
        folder.samples[test.id] = must(reader.read(channels, 0, take.recording.frames));
    }
    return folder;
}

Json plan_of_tone(const capture::Tone& tone) {
    Json steps = Json::array();
    for (const capture::Segment& segment : tone.segments) {
        if (segment.role != capture::SegmentRole::step) continue;
        Json step{{"first_frame", segment.first_frame}, {"frames", segment.frames}};
        if (const auto* law = std::get_if<capture::Multitone>(&segment.law)) {
            for (const capture::ToneLine& line : capture::lines_of(*law))
                step["lines_hz"].push_back(line.frequency_hz);
        }
        steps.push_back(std::move(step));
    }
    return steps;
}

/// Where the tone's frames lie, by the loudest of the channels in memory, as the program finds it.
analysis::Placement place(const Folder& folder, const std::string& id) {
    const analysis::TonePlan plan = cli::plan_of(folder.takes.at(id).tone);
    analysis::Decimator decimator(folder.takes.at(id).recording.rate_hz, 1.6 * plan.high_hz);
    const std::vector<float>& samples = folder.samples.at(id).front();
    decimator.push(samples.data(), samples.size());
    auto placement = analysis::align(decimator.finish(), decimator.rate_hz(), plan);
    if (!placement) give_up(id + ": " + placement.error().text);
    return std::move(*placement);
}

analysis::Signal stretch(const Folder& folder, const std::string& id, std::size_t channel, double from_s,
                         double to_s, double volts_per_unit) {
    const double rate_hz = folder.takes.at(id).recording.rate_hz;
    const auto first = static_cast<std::size_t>(std::llround(from_s * rate_hz));
    const auto count = static_cast<std::size_t>(std::llround((to_s - from_s) * rate_hz));
    return {std::span(folder.samples.at(id)[channel]).subspan(first, count), rate_hz, volts_per_unit};
}

Json staircase(const Folder& folder) {
    const std::string id = "stairs";
    const analysis::TonePlan plan = cli::plan_of(folder.takes.at(id).tone);
    const analysis::Placement placement = place(folder, id);
    const capture::Load& load = folder.bench.loads[folder.test(id).loads.front()];
    const double scale = folder.bench.inputs[load.plus].volts_per_unit();
    const double rate_hz = folder.takes.at(id).recording.rate_hz;
    analysis::StepOptions options;
    options.nominal_hz = plan.frequency_hz;
    options.frequency_guess_hz = plan.frequency_hz / placement.clock_ratio;
    Json found;
    for (const double start_s : placement.step_starts_s) {
        const double from_s = start_s + placement.clock_ratio * settle_s;
        const double to_s = start_s + placement.clock_ratio * (plan.step_s - end_guard_s);
        const std::vector<double> volts =
            analysis::volts_between(stretch(folder, id, 0, from_s, to_s, scale), {});
        const analysis::StepReading step = analysis::read_step(volts, rate_hz, options);
        found["fundamental_v"].push_back(step.fundamental_v);
        found["thd"].push_back(step.thd);
        found["thd_plus_noise"].push_back(step.thd_plus_noise);
        found["power_w"].push_back(step.total_v * step.total_v / load.resistance_ohm);
    }
    return found;
}

Json sweep(const Folder& folder) {
    const std::string id = "band";
    const cli::Take& take = folder.takes.at(id);
    const analysis::Placement placement = place(folder, id);
    const capture::Load& load = folder.bench.loads[folder.test(id).loads.front()];
    const capture::Segment* segment = nullptr;
    for (const capture::Segment& one : take.tone.segments) {
        if (std::holds_alternative<capture::LogSweep>(one.law)) segment = &one;
    }
    const auto& law = std::get<capture::LogSweep>(segment->law);
    analysis::SweepPlan plan;
    plan.duration_s = static_cast<double>(segment->frames) / take.tone.rate_hz;
    plan.at = [&](double seconds) {
        return capture::value_at(*segment, take.tone.rate_hz, seconds * take.tone.rate_hz);
    };
    plan.growth_s = law.growth_s;
    plan.from_hz = law.start_hz;
    plan.to_hz = law.start_hz * std::exp(plan.duration_s / law.growth_s);
    const double start_s = placement.start_s + placement.clock_ratio *
                                                   static_cast<double>(segment->first_frame) /
                                                   take.tone.rate_hz;
    const double from_s = std::round((start_s - 0.05) * take.recording.rate_hz) / take.recording.rate_hz;
    const std::vector<double> volts = analysis::volts_between(
        stretch(folder, id, 0, from_s, start_s + placement.clock_ratio * (plan.duration_s + 0.97),
                folder.bench.inputs[load.plus].volts_per_unit()),
        {});
    const analysis::SweepResponse response =
        analysis::respond(volts, take.recording.rate_hz * placement.clock_ratio,
                          (start_s - from_s) / placement.clock_ratio, plan);
    Json found;
    for (const double hz : analysis::log_frequencies(20.0, 20000.0, response_per_octave)) {
        const std::complex<double> gain = response.at(hz, 1);
        found["frequency_hz"].push_back(hz);
        found["gain_db"].push_back(20.0 * std::log10(std::abs(gain)));
        found["phase_deg"].push_back(std::arg(gain) * 180.0 / std::numbers::pi);
    }
    return found;
}

analysis::ImpedanceCurve impedance(const Folder& folder, const std::string& id) {
    const cli::Take& take = folder.takes.at(id);
    const analysis::Placement placement = place(folder, id);
    const capture::Segment* segment = nullptr;
    for (const capture::Segment& one : take.tone.segments) {
        if (one.role == capture::SegmentRole::step) segment = &one;  // the last, at full level
    }
    std::vector<double> lines_hz;
    for (const capture::ToneLine& line : capture::lines_of(std::get<capture::Multitone>(segment->law)))
        lines_hz.push_back(line.frequency_hz);
    const capture::ImpedanceJig& jig = *folder.bench.jig;
    const double from_s =
        placement.step_starts_s.back() + placement.clock_ratio * capture::impedance_settling_s;
    const double to_s =
        from_s + placement.clock_ratio * capture::impedance_periods * capture::impedance_period_s;
    const auto signal = [&](std::size_t input) {
        const capture::Input& side = folder.bench.inputs[input];
        return stretch(folder, id, static_cast<std::size_t>(side.channel - 1), from_s, to_s,
                       side.volts_per_unit());
    };
    const analysis::LineTransfer transfer = analysis::transfer_of_lines(
        signal(jig.generator_side), signal(jig.driver_side), lines_hz, placement.clock_ratio);
    const analysis::JigModel model{false, jig.series_ohm, jig.lead_ohm, 0.0};
    analysis::ImpedanceCurve curve;
    for (const analysis::TransferLine& line : transfer.lines) {
        const analysis::JigImpedance z = analysis::impedance_in_jig(model, line.ratio);
        curve.points.push_back({line.frequency_hz, z.z_ohm, std::norm(z.dz_dh) * line.variance});
    }
    return curve;
}

Json driver(const Folder& folder) {
    analysis::FitInputs inputs;
    for (const char* id : {"free", "mass"}) {
        analysis::LoadedCurve loaded;
        loaded.test = id;
        loaded.curve = impedance(folder, id);
        loaded.added_mass_kg = 1e-3 * folder.test(id).number("added_mass_g").value_or(0.0);
        std::erase_if(loaded.curve.points,
                      [](const analysis::ImpedancePoint& point) { return point.frequency_hz > 5000.0; });
        inputs.curves.push_back(std::move(loaded));
    }
    const analysis::FitModel model{analysis::CoilKind::power_law, analysis::SuspensionKind::plain};
    const auto reading = analysis::read_start(inputs);
    if (!reading) give_up("no resonance");
    const analysis::Fit fit =
        analysis::fit_driver(model, inputs, analysis::starts_for(model, inputs, *reading).front());
    const analysis::FittedDriver found = analysis::driver_of(fit.layout, fit.parameters);
    return {{"re_ohm", found.re_ohm},
            {"fs_hz", found.cone.fs_hz},
            {"qms", found.cone.qms},
            {"qes", found.cone.qes},
            {"mms_kg", analysis::mms_kg_of(fit.layout, fit.parameters)}};
}

void evaluate(const Folder& folder, const std::vector<std::string>& ids) {
    for (const std::string& id : ids) {
        const auto take = folder.takes.find(id);
        const cli::TestResult result =
            cli::find_measure(folder.test(id).measure)
                ->evaluate(folder.setup(id), take == folder.takes.end() ? std::span<const cli::Take>()
                                                                        : std::span(&take->second, 1));
        if (result.fault) give_up(id + ": " + result.fault->text);
    }
}

Json work(const Folder& folder, int repeats) {
    struct Part {
        const char* name;
        std::vector<std::string> ids;
        Json (*like)(const Folder&);
    };
    Json all;
    for (const Part& part : {Part{"staircase", {"stairs"}, staircase}, Part{"sweep", {"band"}, sweep},
                             Part{"driver", {"free", "mass", "parameters"}, driver}}) {
        const bool there = std::any_of(folder.job.tests.begin(), folder.job.tests.end(),
                                       [&](const cli::Test& test) { return test.id == part.ids.front(); });
        if (!there) continue;
        Json& node = all[part.name];
        node["like"] = timed(repeats, [&] { node["found"] = part.like(folder); });
        node["whole"] = timed(repeats, [&] { evaluate(folder, part.ids); });
    }
    return all;
}

}  // namespace

int main(int count, char** words) {
    assay::cli::keep_freed_memory();
    const std::vector<std::string> arguments(words + 1, words + count);
    if (arguments.size() == 2 && arguments[1] == "plan") {
        const Folder folder = read_folder(arguments[0], false);
        Json plan;
        for (const auto& [id, take] : folder.takes) plan[id] = plan_of_tone(take.tone);
        fmt::print("{}\n", plan.dump());
        return 0;
    }
    if (arguments.size() == 3 && arguments[1] == "work") {
        fmt::print("{}\n", work(read_folder(arguments[0], true), std::stoi(arguments[2])).dump());
        return 0;
    }
    fmt::print(stderr, "usage: side_by_side FOLDER plan | FOLDER work REPEATS\n");
    return 2;
}
