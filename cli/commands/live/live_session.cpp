#include "cli/commands/live/live_session.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <thread>

#include "capture/guard.h"
#include "capture/tone/staircase.h"
#include "cli/commands/cautions.h"
#include "cli/commands/live/jig_arrangement.h"
#include "cli/commands/live/live_summary.h"
#include "cli/commands/live/preflight.h"
#include "cli/commands/live/sound_choice.h"
#include "cli/commands/live/wiring_check.h"
#include "cli/commands/session/progress.h"
#include "cli/measures/fields.h"
#include "cli/measures/impedance.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

/// Inputs at the ends of a load.
std::set<std::size_t> probes_of(const capture::Load& load) {
    std::set<std::size_t> probes{load.plus};
    if (load.minus) probes.insert(*load.minus);
    return probes;
}

bool share_a_probe(const capture::Load& a, const capture::Load& b) {
    const std::set<std::size_t> of_b = probes_of(b);
    const std::set<std::size_t> of_a = probes_of(a);
    return std::any_of(of_a.begin(), of_a.end(), [&](std::size_t probe) { return of_b.contains(probe); });
}

/// A level held for minutes needs to be known in watts before it sounds: nobody is quick enough afterwards.
Result<void> may_be_held(const Setup& setup, const capture::Load& load, bool gain_known) {
    if (setup.test->measure != "endurance" || load.bare_input || std::isinf(load.resistance_ohm)) return {};
    if (!gain_known) {
        return capture::fail(
            FaultKind::untrusted_capture,
            fmt::format("load \"{}\": the gain up to it is not known, so nothing can tell how hot it gets in "
                        "{:.4g} minutes",
                        load.name, field_number(*setup.test, "minutes")),
            "look at the leads and at the unit's gain: the quiet tone of the wiring check must be heard "
            "there");
    }
    if (!load.rated_power_w && !load.rated_power_no_heatsink_w) {
        return capture::fail(
            FaultKind::bad_input_file,
            fmt::format(
                "load \"{}\": its rated_power_w is not stated, and the level is to be held for {:.4g} "
                "minutes",
                load.name, field_number(*setup.test, "minutes")),
            "read the resistor's print and state rated_power_w, or rated_power_no_heatsink_w, in the bench "
            "file");
    }
    return {};
}

std::vector<std::size_t> sorted_loads(const Test& test) {
    std::vector<std::size_t> loads = test.loads;
    std::sort(loads.begin(), loads.end());
    return loads;
}

}  // namespace

Result<std::unique_ptr<LiveSession>> LiveSession::open(const RunOptions& options, const capture::Bench& bench,
                                                       const Manner& manner) {
    auto questions = Questions::open(options.answers);
    if (!questions) return tl::unexpected<capture::Fault>(questions.error());
    if (!options.yes && !questions->can_ask()) {
        return capture::fail(FaultKind::bad_arguments,
                             "a live run asks before it plays, and there is no terminal to ask on",
                             "give --yes, or --answers FILE, once the bench is looked after");
    }
    auto choice = choose_sound(bench, options.bench.string(), true);
    if (!choice) return tl::unexpected<capture::Fault>(choice.error());
    std::unique_ptr<LiveSession> session(new LiveSession(options, bench, manner, std::move(*questions)));
    if (bench.shared_clock && !capture::one_clock(*choice->devices.playback, choice->devices.record)) {
        return capture::fail(
            FaultKind::bad_input_file,
            fmt::format("{}: shared_clock: \"{}\" and \"{}\" run from two clocks", options.bench.string(),
                        choice->devices.playback->name, choice->devices.record.name),
            "set shared_clock = false, or take one device that plays and records");
    }
    session->device_ =
        std::make_unique<capture::LiveDevice>(bench, choice->library, std::move(choice->devices));
    return session;
}

Result<void> LiveSession::introduce(const Job& job) {
    unit_ = job.unit;
    say(manner_, cautions_text(job.unit.kind) + "\n" + live_summary(job, bench_));
    if (options_.yes) {
        in_jig_ = first_in_the_jig(job);
        return {};
    }
    const auto yes =
        questions_.yes({"proceed", "Is all of this looked after, and may the tones be played?", ""});
    if (!yes) return tl::unexpected<capture::Fault>(yes.error());
    if (!*yes) return capture::fail(FaultKind::stopped, "stopped by hand: nothing was played");
    return {};
}

Result<void> LiveSession::read_terminals(const Setup& setup) {
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = bench_.loads[index];
        if (dc_v_.contains(index) || !needs_preflight(load, unit_)) continue;
        const auto volts = ask_terminals(questions_, load);
        if (!volts) return tl::unexpected<capture::Fault>(volts.error());
        const auto set = setup.test->number("supply_set_v");
        const auto lines = judge_terminals(load, *volts, set ? set : setup.test->number("supply_idle_v"));
        if (!lines) return tl::unexpected<capture::Fault>(lines.error());
        for (const std::string& line : *lines) say(manner_, line);
        dc_v_[index] = volts->plus_to_minus_v;
    }
    return {};
}

std::optional<double> LiveSession::dc_offset_mv(const Test& test) const {
    std::optional<double> largest;
    for (const std::size_t index : test.loads) {
        const auto read = dc_v_.find(index);
        if (read == dc_v_.end()) continue;
        const double offset_mv = 1000.0 * read->second;
        if (std::abs(offset_mv) >= std::abs(largest.value_or(0.0))) largest = offset_mv;
    }
    return largest;
}

Result<void> LiveSession::connect(const Setup& setup) {
    const std::vector<std::size_t>& loads = setup.test->loads;
    const bool all_there = std::all_of(loads.begin(), loads.end(),
                                       [&](std::size_t index) { return connected_.contains(index); });
    if (all_there) return {};
    bool move = false;
    for (const std::size_t index : loads) {
        for (const std::size_t other : connected_)
            move = move || (other != index && share_a_probe(bench_.loads[index], bench_.loads[other]));
    }
    if (move) {
        // Not for --yes to pass over: the leads are on other loads.
        const auto yes =
            questions_.yes({setup.test->id + "-connected",
                            fmt::format("Test \"{}\": switch the unit off, connect {}, switch on. Done?",
                                        setup.test->id, names_of(bench_, loads)),
                            ""});
        if (!yes) return tl::unexpected<capture::Fault>(yes.error());
        if (!*yes) return capture::fail(FaultKind::stopped, "stopped by hand: the loads are not connected");
        connected_.clear();
    }
    connected_.insert(loads.begin(), loads.end());
    return {};
}

Result<void> LiveSession::arrange_jig(const Test& test) {
    const std::string wanted = in_the_jig(test);
    if (test.text("from_file") || wanted == in_jig_) return {};
    // Not for --yes to pass over, as with loads: something has to be moved.
    if (auto arranged = ask_arrangement(questions_, test); !arranged) return arranged;
    in_jig_ = wanted;
    return {};
}

Result<void> LiveSession::before_test(const Setup& setup) {
    const Measure* measure = find_measure(setup.test->measure);
    if (measure == nullptr || !measure->plays) return {};
    if (in_jig_of(*setup.test)) return arrange_jig(*setup.test);
    if (setup.test->loads.empty()) return {};
    if (auto terminals = read_terminals(setup); !terminals) return terminals;
    if (auto connected = connect(setup); !connected) return connected;
    if (refused_) return tl::unexpected<capture::Fault>(*refused_);
    std::vector<std::size_t> loads = sorted_loads(*setup.test);
    if (heard_.contains(loads)) return {};
    say(manner_,
        fmt::format("wiring check for {}, at {:.0f} dBFS", names_of(bench_, loads), wiring_level_dbfs));
    std::error_code error;
    std::filesystem::create_directories(progress_folder(options_.into), error);
    auto check =
        check_wiring(setup, *device_, progress_folder(options_.into), heard_.empty(), stop_requested());
    if (!check) return tl::unexpected<capture::Fault>(check.error());
    for (const Take& take : check->takes) after_take(setup, take);
    for (const std::string& line : check->lines) say(manner_, line);
    for (const TrustRemark& remark : check->remarks) {
        if (auto agreed = agree(remark); !agreed) return agreed;
    }
    heard_[std::move(loads)] = std::move(check->remarks);
    return {};
}

Result<void> LiveSession::agree(const TrustRemark& remark) {
    say(manner_, "WATCH OUT: " + remark.text + "; " + remark.mend);
    if (!remark.stops || options_.yes) return {};
    const auto yes =
        questions_.yes({"scale-moved", "Go on all the same, with this kept in the session?", ""});
    if (yes && *yes) return {};
    if (!yes && yes.error().kind == FaultKind::stopped) return tl::unexpected<capture::Fault>(yes.error());
    refused_ = capture::Fault{FaultKind::untrusted_capture, "wiring check: " + remark.text, std::nullopt,
                              remark.mend};
    return tl::unexpected<capture::Fault>(*refused_);
}

void LiveSession::note(const Setup& setup, Take& first) const {
    const auto heard = heard_.find(sorted_loads(*setup.test));
    if (heard == heard_.end()) return;
    for (const TrustRemark& remark : heard->second) first.recording.flags.push_back(flag_of(remark));
}

Result<void> LiveSession::rest(double seconds, const std::string& why) {
    using namespace std::chrono_literals;
    say(manner_, fmt::format("resting {:.0f} s: {}", std::ceil(seconds), why));
    const auto until = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
    while (std::chrono::steady_clock::now() < until) {
        if (stop_requested()) return capture::fail(FaultKind::stopped, "stopped by hand");
        std::this_thread::sleep_for(20ms);
    }
    for (capture::HeatBudget& budget : budgets_) budget.rested(seconds);
    return {};
}

Result<void> LiveSession::before_take(const Setup& setup, const capture::Tone& tone) {
    double longest_s = 0.0;
    std::string why;
    for (const std::size_t index : setup.test->loads) {
        const auto known = watts_at_full_scale_.find(index);
        if (auto allowed = may_be_held(setup, bench_.loads[index], known != watts_at_full_scale_.end());
            !allowed)
            return allowed;
        if (known == watts_at_full_scale_.end()) continue;
        const double energy_ws = known->second * tone.energy_s();
        const double rest_s = budgets_[index].rest_before_s(energy_ws, tone.duration_s());
        if (std::isinf(rest_s)) {
            return capture::fail(
                FaultKind::bad_input_file,
                fmt::format(
                    "test \"{}\": load \"{}\" would take {:.0f} W s in {:.1f} s, too much for its {:.4g} W",
                    setup.test->id, bench_.loads[index].name, energy_ws, tone.duration_s(),
                    *budgets_[index].rating_w()),
                "use a load of a higher rating or a heatsink, or a lower level");
        }
        if (rest_s > longest_s) {
            longest_s = rest_s;
            why = fmt::format("load \"{}\" has {:.0f} W s to give off", bench_.loads[index].name,
                              budgets_[index].stored_ws());
        }
    }
    if (longest_s <= 0.0) return {};
    return rest(longest_s, why);
}

void LiveSession::after_take(const Setup& setup, const Take& take) {
    double seconds = take.recording.duration_s();
    for (const std::size_t index : setup.test->loads) {
        const auto heat = capture::heat_of(take.recording, bench_, bench_.loads[index]);
        if (!heat) continue;
        budgets_[index].took(*heat);
        seconds = heat->seconds;
        const double energy_s = take.tone.energy_s();
        // A take in which this load was not driven says nothing of its gain, and hum in a quiet one too much:
        // the highest of equally loud takes stands, until a louder one tells better.
        const auto driven = setup.test->text("driven");
        if (driven && bench_.loads[index].name != *driven) continue;
        if (!(energy_s > 0.0) || !(heat->energy_ws > 0.0)) continue;
        const double watts = heat->energy_ws / energy_s;
        const double level_dbfs = take.tone.peak_dbfs();
        const auto known = watts_at_full_scale_.find(index);
        const bool better = known == watts_at_full_scale_.end() || level_dbfs >= heard_dbfs_[index] + 3.0;
        watts_at_full_scale_[index] = better ? watts : std::max(watts, known->second);
        heard_dbfs_[index] = better ? level_dbfs : std::max(level_dbfs, heard_dbfs_[index]);
    }
    for (std::size_t index = 0; index < budgets_.size(); ++index) {
        if (std::find(setup.test->loads.begin(), setup.test->loads.end(), index) == setup.test->loads.end())
            budgets_[index].rested(seconds);
    }
}

double LiveSession::rest_before_s(const Setup& setup, const capture::Tone& tone) const {
    double longest_s = 0.0;
    for (const std::size_t index : setup.test->loads) {
        const auto known = watts_at_full_scale_.find(index);
        if (known == watts_at_full_scale_.end()) continue;
        longest_s = std::max(
            longest_s, budgets_[index].rest_before_s(known->second * tone.energy_s(), tone.duration_s()));
    }
    return longest_s;
}

Result<bool> LiveSession::play_for_meters(const Setup& setup, const SteadyTone& steady) {
    constexpr std::array seconds{8.0, 5.0, 3.0};  // a meter settles in one or two; then it is read
    Take take;
    double rest_s = 0.0;
    for (const double step_s : seconds) {
        take.tone = capture::make_staircase({.rate_hz = setup.tone_rate_hz,
                                             .frequency_hz = steady.frequency_hz,
                                             .levels_dbfs = {steady.level_dbfs},
                                             .step_s = step_s,
                                             .code = "meters/" + setup.test->id});
        rest_s = rest_before_s(setup, take.tone);
        if (std::isfinite(rest_s)) break;
    }
    if (!std::isfinite(rest_s)) {
        say(manner_,
            "a steady tone at this level would be too much for the load: nothing is read under load");
        return false;
    }
    if (rest_s > 0.0) {
        if (auto rested = rest(rest_s, "the loads cool before a steady tone"); !rested)
            return tl::unexpected<capture::Fault>(rested.error());
    }
    const std::vector<std::size_t> outputs = outputs_of(setup);
    if (const auto guarded = capture::check_tone(bench_, outputs, take.tone); !guarded)
        return tl::unexpected<capture::Fault>(guarded.error());
    say(manner_,
        fmt::format("test \"{}\": a steady tone of {:.0f} s at {:.1f} dBFS starts now: READ THE METERS "
                    "while it sounds",
                    setup.test->id, take.tone.duration_s(), steady.level_dbfs));
    std::error_code error;
    std::filesystem::create_directories(progress_folder(options_.into), error);
    capture::PlayRequest request;
    request.capture_name = "meters." + setup.test->id;
    request.tone = &take.tone;
    request.outputs = outputs;
    request.into = progress_folder(options_.into);
    request.loads = setup.test->loads;
    request.stop_on_trouble = true;
    request.progress = [&](double done) {
        show_progress(manner_,
                      fmt::format("read the meters: {:.0f} s left", (1.0 - done) * take.tone.duration_s()),
                      done);
    };
    auto recording = device_->play_and_record(request, stop_requested());
    end_progress(manner_);
    if (!recording) {
        if (recording.error().kind == FaultKind::stopped)
            return tl::unexpected<capture::Fault>(recording.error());
        say(manner_, "the steady tone failed, nothing is read under load: " + recording.error().text);
        return false;
    }
    take.recording = std::move(*recording);
    after_take(setup, take);
    return true;
}

}  // namespace assay::cli
