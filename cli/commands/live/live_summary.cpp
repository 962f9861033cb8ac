#include "cli/commands/live/live_summary.h"

#include <fmt/format.h>

#include <cmath>

#include "cli/commands/live/jig_arrangement.h"
#include "cli/files/plain_text.h"
#include "cli/measures/fields.h"
#include "cli/measures/impedance.h"
#include "cli/measures/measure.h"

namespace assay::cli {

namespace {

constexpr double minutes_from_s = 180.0;
constexpr double silent_dbfs = -200.0;

std::string longest_words(double longest_s) {
    if (longest_s < minutes_from_s) return fmt::format("at most {:.0f} s", longest_s);
    return fmt::format("at most {:.4g} min", std::ceil(longest_s / 60.0));
}

/// A tone of silence has no level; the lowest that a tone can tell would read as one that is played.
std::string level_words(double peak_dbfs) {
    if (peak_dbfs <= silent_dbfs) return "silence";
    return fmt::format("up to {:.1f} dBFS", peak_dbfs);
}

std::string line_of(const Test& test, const std::string& level, double longest_s,
                    const capture::Bench& bench) {
    return fmt::format("  {:<20} {:<16} {}, {}{}\n", test.id, test.measure, level, longest_words(longest_s),
                       test.loads.empty() ? std::string() : ", at " + names_of(bench, test.loads));
}

Setup setup_of(const Test& test, const capture::Bench& bench, bool live) {
    return {.bench = &bench,
            .test = &test,
            .tone_rate_hz = bench.sample_rate_hz,
            .named = {},
            .folder = {},
            .live = live};
}

/// Empty where the test plays nothing, or cannot be planned: it ends with its reason when its turn comes.
std::string planned_line(const Test& test, const capture::Bench& bench) {
    const Measure* measure = find_measure(test.measure);
    if (measure == nullptr || !measure->plays) return {};
    // Its tone in a file is a short one that the player repeats, and none where the level has to be found
    // first.
    if (test.measure == "endurance") {
        const double held_s = 60.0 * field_number(test, "minutes");
        if (const auto power_w = test.number("power_w")) {
            return line_of(test, fmt::format("what gives {:.4g} W", *power_w), held_s, bench);
        }
        const auto held = measure->next(setup_of(test, bench, true), {});
        return held ? line_of(test, level_words(held->peak_dbfs()), held->duration_s(), bench)
                    : std::string();
    }
    // Every level in one tone, as for a recorder: live the test goes up step by step and may end before.
    const auto tone = measure->next(setup_of(test, bench, false), {});
    return tone ? line_of(test, level_words(tone->peak_dbfs()), tone->duration_s(), bench) : std::string();
}

}  // namespace

std::string names_of(const capture::Bench& bench, const std::vector<std::size_t>& loads) {
    std::string names;
    for (const std::size_t index : loads) {
        const capture::Load& load = bench.loads[index];
        names += (names.empty() ? "" : ", ") + load.name + (load.bare_input ? " (no load)" : "");
    }
    return names;
}

std::string live_summary(const Job& job, const capture::Bench& bench) {
    std::string text = "What will be played:\n";
    bool heard = false;
    for (const Test& test : job.tests) {
        const std::string line = planned_line(test, bench);
        if (line.empty()) continue;
        text += line;
        if (in_jig_of(test)) text += labelled_lines("    in the jig:", 16, in_the_jig(test), 80);
        heard = heard || !test.loads.empty();
    }
    if (heard) text += "Before each set of loads or inputs the wiring is heard at -40 dBFS.\n";
    return text + "Ctrl-C fades the tone out at any time.\n";
}

}  // namespace assay::cli
