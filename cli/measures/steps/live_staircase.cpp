#include "cli/measures/steps/live_staircase.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "analysis/amplifier/clip_onset.h"
#include "analysis/amplifier/distortion_limit.h"
#include "analysis/units.h"
#include "capture/tone/staircase.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/held_level.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli {

namespace {

using capture::Result;

constexpr double coarse_db = 2.0;
constexpr std::size_t first_steps = 8;
constexpr std::size_t coarse_steps = 2;  // of a run: no more than 4 dB blind
constexpr double approach_db = 0.5;
constexpr std::size_t approach_steps = 3;
constexpr double near_limit = 0.2;     // of the lowest limit: from there on it is approached
constexpr double compressed_db = 0.1;  // missing from a coarse step: the same
constexpr double close_db = 0.125;     // steps on both sides of a limit lie this near in the end
constexpr double fine_db = 0.1;
constexpr double onset_below_db = 0.35;  // the onset's rule looks half a decibel up
constexpr double onset_above_db = 0.75;
constexpr std::size_t most_fine_steps = 10;
constexpr std::size_t most_takes = 60;
// In a row: a single one is the computer's doing, and the run is repeated.
constexpr std::size_t most_dropouts = 6;

std::vector<double> levels_of(const capture::Tone& tone) {
    std::vector<double> levels;
    for (const capture::Segment& segment : tone.segments) {
        if (segment.role == capture::SegmentRole::step) levels.push_back(segment.level_dbfs);
    }
    return levels;
}

/// The steps of all takes by rising level; the level that later takes begin with is the first's once more.
template <class Row>
std::vector<LoadStep> in_order(const std::vector<StaircaseReading>& readings, Row row) {
    std::vector<LoadStep> steps;
    for (std::size_t t = 0; t < readings.size(); ++t) {
        const std::vector<LoadStep>& own = *row(readings[t]);
        if (!own.empty()) steps.insert(steps.end(), own.begin() + (t > 0 ? 1 : 0), own.end());
    }
    std::stable_sort(steps.begin(), steps.end(), [](const LoadStep& a, const LoadStep& b) {
        return a.reading.level_dbfs < b.reading.level_dbfs;
    });
    return steps;
}

const char* state_words(StepState state) {
    switch (state) {
        case StepState::overload:
            return "overload of the recorder";
        case StepState::dropout:
            return "dropout";
        case StepState::vanished:
            return "collapse of the output";
        case StepState::sound:
            break;
    }
    return "";
}

/// Every step of a take that could not be read whole.
StaircaseReading lost_take(const Setup& setup, const Take& take, const std::string& why) {
    StaircaseReading reading;
    const bool overload = why.find("overload") != std::string::npos;
    const bool silent = why.find("collapsed") != std::string::npos;
    for (std::size_t l = 0; l < setup.test->loads.size(); ++l) {
        std::vector<LoadStep> steps;
        for (const double level : levels_of(take.tone)) {
            LoadStep step;
            step.reading.level_dbfs = level;
            step.state = overload ? StepState::overload : silent ? StepState::vanished : StepState::dropout;
            step.trouble = why;
            steps.push_back(step);
        }
        if (setup.test->reference) reading.reference = steps;
        reading.loads.push_back(std::move(steps));
    }
    return reading;
}

std::string early_end(const Take& take) {
    for (const std::string& flag : take.recording.flags) {
        if (flag.starts_with("stopped early: ")) return flag.substr(15);
    }
    return {};
}

bool broken_by_dropout(const Take& take) {
    return early_end(take).starts_with("dropout");
}

/// Takes without those that a dropout ended, unless the last ones of a row that was too long.
std::vector<const Take*> takes_to_read(std::span<const Take> takes) {
    std::vector<const Take*> good;
    std::size_t row = 0;
    for (const Take& take : takes) {
        row = broken_by_dropout(take) ? row + 1 : 0;
        if (row == 0 || row >= most_dropouts) good.push_back(&take);
    }
    return good;
}

/// No number rests on a run in which the gain is another one.
void mark_moved(StaircaseReading& reading, double moved_db) {
    for (auto& steps : reading.loads) {
        for (LoadStep& step : steps) {
            step.state = moved_db < -collapse_db ? StepState::vanished : StepState::dropout;
            step.trouble = moved_words(moved_db);
        }
    }
}

double change_db(const LoadStep& now, const LoadStep& before) {
    return analysis::decibels(now.reading.fundamental_v / before.reading.fundamental_v);
}

}  // namespace

LiveStaircase live_plan(const Setup& setup) {
    LiveStaircase plan;
    plan.to_dbfs = setup.test->number("to_dbfs").value_or(limit_dbfs(setup));
    plan.from_dbfs = std::min(field_number(*setup.test, "from_dbfs"), plan.to_dbfs);
    plan.frequency_hz = field_number(*setup.test, "frequency_hz");
    for (const double percent : field_numbers(*setup.test, "distortion_limits_percent"))
        plan.limits.push_back(percent / 100.0);
    plan.limit_on_noise_too = field_text(*setup.test, "limit_on") != "thd";
    plan.code = setup.test->id + "/clipping-power";
    return plan;
}

Result<LiveReading> read_takes(const Setup& setup, std::span<const Take> takes) {
    LiveReading live;
    std::vector<StaircaseReading> readings;
    const std::vector<const Take*> good = takes_to_read(takes);
    live.repeated_runs = takes.size() - good.size();
    if (good.empty()) {
        return capture::fail(capture::FaultKind::untrusted_capture, early_end(takes.back()),
                             "end other programs, use a larger buffer, and run again");
    }
    for (const Take* one : good) {
        const Take& take = *one;
        const std::string ended = early_end(take);
        auto reading = read_staircase(setup, take);
        if (!reading && readings.empty()) {
            if (!ended.empty()) reading.error().text = ended;
            return tl::unexpected<capture::Fault>(reading.error());
        }
        if (!reading) {
            // A tone that was heard before and is not found any more.
            const bool cut = reading.error().text.find("cut short") != std::string::npos;
            live.stopped_by = !ended.empty() ? ended : cut ? reading.error().text : moved_words(-1e3);
            readings.push_back(lost_take(setup, take, live.stopped_by));
        } else {
            readings.push_back(std::move(*reading));
        }
    }
    live.steps.placement = readings.front().placement;
    live.steps.clock_ppm = readings.front().clock_ppm;
    live.steps.raw = readings.front().raw;
    for (std::size_t l = 0; l < setup.test->loads.size(); ++l) {
        const LoadStep& base = readings.front().loads[l].back();
        for (std::size_t t = 0; t < readings.size(); ++t) {
            const auto& steps = readings[t].loads[l];
            if (t > 0 && !steps.empty() && steps.front().state == StepState::sound &&
                base.state == StepState::sound) {
                const double moved = change_db(steps.front(), base);
                if (std::abs(moved) > std::abs(live.fade_db)) live.fade_db = moved;
                if (std::abs(moved) > held_within_db) mark_moved(readings[t], moved);
            }
            for (const LoadStep& step : steps) {
                if (live.stopped_by.empty() && step.state != StepState::sound)
                    live.stopped_by = std::string(state_words(step.state)) + ": " + step.trouble;
            }
        }
        live.steps.loads.push_back(
            in_order(readings, [l](const StaircaseReading& r) { return &r.loads[l]; }));
    }
    if (setup.test->reference)
        live.steps.reference = in_order(readings, [](const StaircaseReading& r) { return &r.reference; });
    if (live.stopped_by.empty() && std::abs(live.fade_db) > held_within_db) {
        live.stopped_by = moved_words(live.fade_db);
    }
    return live;
}

void add_search(const LiveReading& read, std::span<const Take> takes, TestResult& result) {
    // A sound card's capture begins its flags with what was asked and got.
    const std::vector<std::string>& flags = takes.front().recording.flags;
    const bool live = takes.size() > 1 || (!flags.empty() && flags.front().starts_with("asked "));
    if (!live) return;
    result.conditions.emplace_back("runs", static_cast<double>(takes.size()));
    result.conditions.emplace_back("runs_repeated_after_dropouts", static_cast<double>(read.repeated_runs));
    result.conditions.emplace_back("level_change_db", read.fade_db);
    if (read.stopped_by.empty()) return;
    result.whole.warn("search-stopped", "the search was ended: " + read.stopped_by,
                      "mend the cause and run the test again if a number is missing");
}

namespace {

struct Search {
    const LiveStaircase& plan;
    const LiveReading& read;
    analysis::DistortionKind kind;
    double highest_played = 0.0;

    double highest_limit() const { return *std::max_element(plan.limits.begin(), plan.limits.end()); }
    double lowest_limit() const { return *std::min_element(plan.limits.begin(), plan.limits.end()); }

    /// Every load is past the highest limit.
    bool past_all() const {
        return std::all_of(read.steps.loads.begin(), read.steps.loads.end(), [&](const auto& steps) {
            return !steps.empty() && analysis::distortion_of(steps.back().reading, kind) > highest_limit();
        });
    }

    /// Some load is near its limit, or bends.
    bool near() const {
        return std::any_of(read.steps.loads.begin(), read.steps.loads.end(), [&](const auto& steps) {
            if (steps.size() < 2) return false;
            const auto& last = steps.back().reading;
            const auto& before = steps[steps.size() - 2].reading;
            const double missing = last.level_dbfs - before.level_dbfs -
                                   analysis::decibels(last.fundamental_v / before.fundamental_v);
            return analysis::distortion_of(last, kind) > near_limit * lowest_limit() ||
                   missing > compressed_db;
        });
    }

    std::vector<double> ascent() const {
        std::vector<double> levels;
        const bool small = near();
        const std::size_t count = small ? approach_steps : coarse_steps;
        for (std::size_t k = 1; k <= count; ++k) {
            const double level = highest_played + (small ? approach_db : coarse_db) * static_cast<double>(k);
            levels.push_back(std::min(level, plan.to_dbfs));
            if (level >= plan.to_dbfs) break;
        }
        return levels;
    }

    void want_limits(const std::vector<analysis::StepReading>& readings, std::set<double>& wanted) const {
        for (const double limit : plan.limits) {
            const auto found = analysis::find_limit_crossing(readings, limit, kind);
            const auto* crossing = std::get_if<analysis::LimitCrossing>(&found);
            if (crossing == nullptr) continue;
            const double below = readings[crossing->below].level_dbfs;
            const double above = readings[crossing->above].level_dbfs;
            if (above - below <= close_db) continue;
            for (const double beside : {-1.5, -0.5, 0.5, 1.5}) {
                const double level = crossing->drive_dbfs + beside * fine_db;
                if (level > below - fine_db && level < above + fine_db) wanted.insert(level);
            }
        }
    }

    void want_onset(const std::vector<analysis::StepReading>& readings, std::set<double>& wanted) const {
        for (const auto polarity : {analysis::Polarity::positive, analysis::Polarity::negative}) {
            const auto onset = analysis::find_clip_onset(readings, polarity);
            const auto* found = std::get_if<analysis::ClipOnset>(&onset);
            if (found == nullptr) continue;
            const double from = found->drive_dbfs - onset_below_db;
            const double to = found->drive_dbfs + onset_above_db;
            for (double level = from; level <= to; level += fine_db) {
                const bool there =
                    std::any_of(readings.begin(), readings.end(), [&](const analysis::StepReading& reading) {
                        return std::abs(reading.level_dbfs - level) < 0.6 * fine_db;
                    });
                if (!there) wanted.insert(level);
            }
        }
    }

    std::vector<double> closing_in() const {
        std::set<double> limits;
        std::set<double> onset;
        for (const auto& steps : read.steps.loads) {
            const TrustedSteps trusted = trusted_steps(steps);
            want_limits(trusted.readings, limits);
            want_onset(trusted.readings, onset);
        }
        // First the onset, whose levels lie lower; a limit's place is known better after it.
        const std::set<double>& wanted = onset.empty() ? limits : onset;
        std::vector<double> levels;
        for (const double level : wanted) {
            if (level > plan.to_dbfs + 1e-9 || levels.size() == most_fine_steps) break;
            if (levels.empty() || level - levels.back() > 0.4 * fine_db) levels.push_back(level);
        }
        return levels;
    }
};

}  // namespace

std::optional<capture::Tone> next_live_tone(const Setup& setup, std::span<const Take> takes,
                                            const LiveStaircase& plan) {
    std::vector<double> levels;
    if (takes.empty()) {
        for (std::size_t k = 0; k < first_steps; ++k) {
            const double level = plan.from_dbfs + coarse_db * static_cast<double>(k);
            if (level > plan.to_dbfs) break;
            levels.push_back(level);
        }
    } else {
        if (takes.size() >= most_takes) return std::nullopt;
        if (broken_by_dropout(takes.back()) && takes_to_read(takes).size() < takes.size() &&
            (takes_to_read(takes).empty() || takes_to_read(takes).back() != &takes.back()))
            return takes.back().tone;
        const auto read = read_takes(setup, takes);
        if (!read || !read->stopped_by.empty()) return std::nullopt;
        const std::vector<double> first = levels_of(takes_to_read(takes).front()->tone);
        double highest = -1e9;
        for (const Take* take : takes_to_read(takes)) highest = std::max(highest, take->tone.peak_dbfs());
        const Search search{plan, *read,
                            plan.limit_on_noise_too ? analysis::DistortionKind::thd_plus_noise
                                                    : analysis::DistortionKind::thd,
                            highest};
        const bool up = highest < plan.to_dbfs - 1e-6 && !search.past_all();
        levels = up ? search.ascent() : search.closing_in();
        if (levels.empty()) return std::nullopt;
        levels.insert(levels.begin(), first.back());
    }
    return capture::make_staircase({.rate_hz = setup.tone_rate_hz,
                                    .frequency_hz = plan.frequency_hz,
                                    .levels_dbfs = levels,
                                    .step_s = 0.3,
                                    .code = plan.code + "/" + std::to_string(takes.size())});
}

}  // namespace assay::cli
