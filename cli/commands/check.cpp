// `assay check`: the key tests of a session once more, before a unit leaves or after it has arrived.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include "cli/commands/commands.h"
#include "cli/commands/session/session_place.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_file.h"
#include "cli/files/plain_text.h"
#include "cli/files/session/session_file.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"
#include "cli/signature/bundle.h"

namespace assay::cli {
namespace {

namespace fs = std::filesystem;
using analysis::Quantity;

constexpr double longest_s = 120.0;

/// What a unit in use moves by without anybody calling it another: a warmer day, another battery, a knob set
/// by eye. Common practice, no source.
double slack_of(const Quantity& before) {
    const double size = std::abs(before.value);
    if (before.unit == "dB") return 0.5;
    if (before.unit == "W") return 0.03 * size;
    if (before.unit == "%") return 0.5 * size;
    if (before.unit == "V") return 0.015 * size;
    return 0.02 * size;
}

/// Quantities that tell one unit from another, by the beginnings of their names; of other measures all.
bool tells(const std::string& measure, const std::string& name) {
    const auto begins = [&](std::initializer_list<const char*> starts) {
        return std::any_of(starts.begin(), starts.end(),
                           [&](const char* start) { return name.starts_with(start); });
    };
    if (measure == "clipping-power") return begins({"power_at_", "voltage_at_", "clip_onset_"});
    if (measure == "distortion") return begins({"thd_percent", "thd_plus_noise_percent"});
    if (measure == "impedance") return begins({"minimum_", "resonance_", "impedance_1khz"});
    return true;
}

/// The tests that claims rest on, else all that play, as many as fit into two minutes (and always one).
std::vector<std::string> key_tests(const Session& session, const Job& job) {
    std::vector<std::string> chosen;
    double spent_s = 0.0;
    for (const bool claimed : {true, false}) {
        if (!claimed && !chosen.empty()) break;
        for (const Test& test : job.tests) {
            const TestRecord* record = session.find(test.id);
            const Measure* measure = find_measure(test.measure);
            const bool rests = std::any_of(session.claims.begin(), session.claims.end(),
                                           [&](const JudgedClaim& claim) { return claim.test == test.id; });
            if (record == nullptr || record->result.fault || !measure->plays || (claimed && !rests)) continue;
            double length_s = 0.0;
            for (const Take& take : record->takes) length_s += take.tone.duration_s();
            if (record->takes.empty() || (!chosen.empty() && spent_s + length_s > longest_s)) continue;
            chosen.push_back(test.id);
            spent_s += length_s;
        }
    }
    return chosen;
}

/// What is random in the repeat has nothing to do with what was random before; what the bench is uncertain by
/// is the same in both, and cancels, unless it is another bench.
Quantity as_repeated(const Quantity& quantity, bool other_bench) {
    Quantity repeated = quantity;
    repeated.contributions.clear();
    for (const auto& [id, contribution] : quantity.contributions) {
        const bool own = other_bench || id.starts_with("test:");
        repeated.contributions[own ? "repeat:" + id : id] = contribution;
    }
    return repeated;
}

struct Repeat {
    std::string test{};
    std::string load{};
    std::string name{};
    Quantity before{};
    std::optional<Quantity> after{};
    Quantity difference{};
    bool moved = false;
    std::string words{};
};

Repeat repeat_of(const std::string& test, const std::string& load, const std::string& name,
                 const Quantity& before, const Numbers* again, bool other_bench) {
    Repeat repeat{test, load, name, before, {}, {}, false, {}};
    const Quantity* after = again != nullptr ? again->find(name) : nullptr;
    if (after == nullptr) {
        const analysis::Absent* absent = again != nullptr ? again->find_absent(name) : nullptr;
        repeat.moved = true;
        repeat.words = "NO NUMBER NOW" + (absent != nullptr ? ": " + absent->text : std::string{});
        return repeat;
    }
    repeat.after = *after;
    repeat.difference = analysis::difference(as_repeated(*after, other_bench), before);
    const double uncertainty = repeat.difference.expanded_uncertainty();
    const double size = std::abs(repeat.difference.value);
    const double slack = slack_of(before);
    repeat.moved = size > uncertainty && size > slack;
    if (repeat.moved) {
        repeat.words = "MOVED";
    } else if (uncertainty > slack) {
        repeat.words = "unchanged, as far as these benches tell";
    } else {
        repeat.words = size > uncertainty ? "moved by less than matters" : "unchanged";
    }
    return repeat;
}

std::vector<Repeat> repeats_of(const Session& before, const Session& after, bool other_bench) {
    std::vector<Repeat> repeats;
    for (const TestRecord& again : after.tests) {
        const TestRecord* record = before.find(again.id);
        if (record == nullptr) continue;
        const auto add = [&](const std::string& load, const Numbers& numbers, const Numbers* others) {
            for (const auto& [name, quantity] : numbers.quantities) {
                if (!tells(record->result.measure, name)) continue;
                repeats.push_back(repeat_of(again.id, load, name, quantity, others, other_bench));
            }
        };
        for (const auto& [load, numbers] : record->result.loads) add(load, numbers, again.result.load(load));
        add({}, record->result.whole, &again.result.whole);
    }
    return repeats;
}

/// The difference with its sign: "+0.3 ± 0.4 W"; a percentage of a percentage would mislead, so in the unit.
std::string difference_text(const Repeat& repeat) {
    if (!repeat.after) return "";
    const std::string text = value_text(repeat.difference);
    return repeat.difference.value > 0.0 ? "+" + text : text;
}

std::string check_text(const Session& session, const std::vector<Repeat>& repeats, bool other_bench) {
    std::string text = "certificate  " + visible_text(session.number, 60) +
                       (session.simulated ? " (SIMULATED BENCH: shows no real unit)\n" : "\n");
    text += other_bench ? "on another bench: the uncertainties of both count\n"
                        : "on the same bench: what its scales and loads are uncertain by cancels\n";
    std::string last;
    std::size_t first = 0;
    for (const Repeat& repeat : repeats) first = std::max(first, columns_of(quantity_words(repeat.name)));
    for (const Repeat& repeat : repeats) {
        const std::string where =
            visible_text(repeat.test, 80) + (repeat.load.empty() ? "" : ", " + visible_text(repeat.load, 60));
        if (where != last) text += where + "\n";
        last = where;
        text += "  " + padded(quantity_words(repeat.name), first) + "  " +
                padded(value_text(repeat.before), 20) + "  " +
                padded(repeat.after ? value_text(*repeat.after) : "no number", 20) + "  " +
                padded(difference_text(repeat), 20) + "  " + visible_text(repeat.words) + "\n";
    }
    const auto moved =
        std::count_if(repeats.begin(), repeats.end(), [](const Repeat& repeat) { return repeat.moved; });
    text += moved == 0
                ? fmt::format(
                      "same unit, unchanged: none of {} figures moved by more than its uncertainty and "
                      "by what matters\n",
                      repeats.size())
                : fmt::format(
                      "{} of {} figures moved: not as it was, or not the same unit, or not set as it "
                      "was (supply volts, level, switches)\n",
                      moved, repeats.size());
    return text;
}

std::string check_json(const Session& session, const std::vector<Repeat>& repeats, bool other_bench) {
    nlohmann::ordered_json json;
    json["number"] = visible_text(session.number, 200);
    json["same_bench"] = !other_bench;
    json["unchanged"] =
        std::none_of(repeats.begin(), repeats.end(), [](const Repeat& repeat) { return repeat.moved; });
    auto list = nlohmann::ordered_json::array();
    for (const Repeat& repeat : repeats) {
        nlohmann::ordered_json entry;
        entry["test"] = repeat.test;
        entry["load"] = repeat.load;
        entry["quantity"] = repeat.name;
        entry["unit"] = repeat.before.unit;
        entry["before"] = repeat.before.value;
        if (repeat.after) {
            entry["after"] = repeat.after->value;
            entry["difference"] = repeat.difference.value;
            entry["expanded_uncertainty"] = repeat.difference.expanded_uncertainty();
        }
        entry["moved"] = repeat.moved;
        list.push_back(std::move(entry));
    }
    json["figures"] = std::move(list);
    return json.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

}  // namespace

int run_check(const CheckOptions& options, const Manner& manner) {
    const auto place = open_session_place(options.session);
    if (!place) return report(place.error());
    const auto before = read_session(place->folder);
    if (!before) return report(before.error());
    const fs::path bench_file = options.bench.value_or(place->folder / "bench.toml");
    auto bench = read_bench(bench_file);
    if (!bench) return report(bench.error());
    const auto job = read_job(place->folder / "job.toml", *bench, bench->sample_rate_hz);
    if (!job) return report(job.error());
    auto made = make_temporary_folder();
    if (!made) return report(made.error());

    RunOptions run;
    run.job = place->folder / "job.toml";
    run.bench = bench_file;
    run.into = made->path / "repeat";
    run.recordings = options.recordings;
    run.yes = options.yes;
    run.answers = options.answers;
    run.print = false;
    run.of_session = options.bench ? OfSession::job : OfSession::job_and_bench;
    run.pages = "none";
    run.only = key_tests(*before, *job);
    if (run.only.empty()) {
        return report({capture::FaultKind::bad_input_file,
                       options.session.string() + ": none of its tests can be repeated", std::nullopt,
                       "its numbers were read by hand or cannot be trusted: run the job again"});
    }
    // What a live run says before and while it plays is said here too; only its results are told otherwise.
    Manner aside = manner;
    aside.json = false;
    if (const int status = run_session(run, aside); status != exit_done) return status;
    const auto after = read_session(run.into);
    if (!after) return report(after.error());
    const bool other_bench = options.bench.has_value();
    const auto repeats = repeats_of(*before, *after, other_bench);
    if (repeats.empty()) {
        return report({capture::FaultKind::bad_input_file,
                       options.session.string() + ": its key tests hold no number that could be compared",
                       std::nullopt, "`assay show` tells why each is absent; compare by another test"});
    }
    if (manner.json) {
        print_result(check_json(*before, repeats, other_bench));
    } else if (!manner.quiet) {
        print_text(check_text(*before, repeats, other_bench));
    }
    return exit_done;
}

}  // namespace assay::cli
