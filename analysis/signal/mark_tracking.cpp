#include "analysis/signal/mark_tracking.h"

#include <algorithm>
#include <cmath>

#include "analysis/signal/median.h"

namespace assay::analysis {

namespace {

constexpr double mark_found = 0.7;   // likeness of a mark that is there; a steady tone reaches about 0.3
constexpr double whole_found = 0.8;  // likeness of a stretch of the tone when the thread was lost
constexpr double widest_jump_s = 4.0;
constexpr int thread_lost_after = 3;  // marks not found in a row, after some were
constexpr double smallest_jump_s = 0.25e-3;

struct FoundMark {
    std::size_t index = 0;
    double tone_s = 0.0;
    double recording_s = 0.0;
};

double typical_ratio(const std::vector<FoundMark>& marks) {
    std::vector<double> slopes;
    for (std::size_t k = 1; k < marks.size(); ++k) {
        slopes.push_back((marks[k].recording_s - marks[k - 1].recording_s) /
                         (marks[k].tone_s - marks[k - 1].tone_s));
    }
    return slopes.empty() ? 1.0 : std::clamp(median(std::move(slopes)), 1.0 - 1.5e-3, 1.0 + 1.5e-3);
}

/// Where the tone goes on after a gap too long for the narrow search: the next two seconds of it, whole. Not
/// before `earliest_s`: steps are so alike that the tone already passed would do as well.
std::optional<double> take_up_thread(const BandSignal& band, const TonePlan& plan, double tone_s,
                                     double expected_s, double earliest_s, double ratio) {
    const double stretch_s = std::min(2.0, plan.duration_s - tone_s);
    if (stretch_s < 0.2) return std::nullopt;
    const Waveform stretch{stretch_s * ratio,
                           [&plan, tone_s, ratio](double s) { return plan.whole.at(tone_s + s / ratio); }};
    const Match match = best_match(band, stretch, std::max(expected_s - widest_jump_s, earliest_s),
                                   std::min(expected_s + widest_jump_s, band.duration_s()));
    if (match.likeness < whole_found) return std::nullopt;
    return match.at_s;
}

/// How far a mark may be looked for: neighbours are so alike that the search must not reach them.
double reach_of(const TonePlan& plan, std::size_t mark) {
    double free_s = plan.step_s;
    const double length_s = std::max(plan.rising_mark.duration_s, plan.falling_mark.duration_s);
    for (const std::size_t next : {mark, mark + 1}) {
        if (next == 0 || next >= plan.mark_starts_s.size()) continue;
        free_s = std::min(free_s, plan.mark_starts_s[next] - plan.mark_starts_s[next - 1] - length_s);
    }
    return 0.45 * free_s;
}

/// The mark that each step follows.
std::vector<std::size_t> marks_of_steps(const TonePlan& plan) {
    std::vector<std::size_t> marks;
    for (const double start_s : plan.step_starts_s) {
        const auto next = std::upper_bound(plan.mark_starts_s.begin(), plan.mark_starts_s.end(), start_s);
        marks.push_back(
            static_cast<std::size_t>(std::max<std::ptrdiff_t>(next - plan.mark_starts_s.begin(), 1) - 1));
    }
    return marks;
}

/// Where a row of three marks or more stands that begins with this mark, after a step in which any length may
/// have been lost: the gaps of a row are unequal, so that it fits in one place only.
std::optional<double> find_row(const BandSignal& band, const TonePlan& plan, std::size_t mark,
                               const std::vector<std::size_t>& mark_of_step, double expected_s,
                               double earliest_s, double ratio) {
    const bool after_step = std::ranges::binary_search(mark_of_step, mark - 1);
    const auto end = std::ranges::lower_bound(mark_of_step, mark);
    const std::size_t last = end == mark_of_step.end() ? plan.mark_starts_s.size() - 1 : *end;
    if (!after_step || last < mark + 2) return std::nullopt;
    const double from_s = plan.mark_starts_s[mark];
    const double length_s = plan.mark_starts_s[last] + plan.rising_mark.duration_s - from_s;
    const Waveform row{length_s * ratio,
                       [&plan, from_s, ratio](double s) { return plan.whole.at(from_s + s / ratio); }};
    const Match match = best_match(band, row, std::max(expected_s - widest_jump_s, earliest_s),
                                   std::min(expected_s + widest_jump_s, band.duration_s()));
    if (match.likeness < mark_found) return std::nullopt;
    return match.at_s;
}

std::vector<FoundMark> find_marks(const BandSignal& band, const TonePlan& plan, const Match& head) {
    std::vector<FoundMark> marks;
    double anchor_tone_s = plan.head_start_s;
    double anchor_s = head.at_s;
    double ratio = 1.0;
    int missed = 0;
    const std::vector<std::size_t> mark_of_step = marks_of_steps(plan);
    const BandShape rising = shape_in(band, plan.rising_mark);
    const BandShape falling = shape_in(band, plan.falling_mark);
    for (std::size_t k = 0; k < plan.mark_starts_s.size(); ++k) {
        const double tone_s = plan.mark_starts_s[k];
        double expected_s = anchor_s + (tone_s - anchor_tone_s) * ratio;
        if (k > 0) {
            const double earliest_s = anchor_s + plan.rising_mark.duration_s;
            expected_s =
                find_row(band, plan, k, mark_of_step, expected_s, earliest_s, ratio).value_or(expected_s);
        }
        const double reach_s = reach_of(plan, k);
        const BandShape& mark = plan.mark_rising[k] ? rising : falling;
        const Match match = best_match(band, mark, expected_s - reach_s, expected_s + reach_s);
        if (match.likeness < mark_found) {
            ++missed;
            if (missed != thread_lost_after || marks.size() < 3) continue;
            const std::size_t from = k + 1 - static_cast<std::size_t>(thread_lost_after);
            for (std::size_t again = from; again <= k && again + 1 < plan.mark_starts_s.size(); ++again) {
                const double again_s = plan.mark_starts_s[again];
                const double expected_again_s = anchor_s + (again_s - anchor_tone_s) * ratio;
                const double earliest_s = anchor_s + plan.rising_mark.duration_s;
                const auto thread = take_up_thread(band, plan, again_s, expected_again_s, earliest_s, ratio);
                if (!thread) continue;
                anchor_tone_s = again_s;
                anchor_s = *thread;
                k = again - 1;  // go on from there
                missed = 0;
                break;
            }
            continue;
        }
        missed = 0;
        marks.push_back({k, tone_s, match.at_s});
        anchor_tone_s = tone_s;
        anchor_s = match.at_s;
        if (marks.size() >= 5) ratio = typical_ratio(marks);
    }
    return marks;
}

struct Line {
    double start_s = 0.0;
    double ratio = 1.0;
};

/// Straight line through the marks of a jump-free run; the slope is taken as given where the run is short.
Line line_through(const std::vector<FoundMark>& marks, std::size_t from, std::size_t to, double given_ratio) {
    const auto count = static_cast<double>(to - from);
    double mean_tone = 0.0;
    double mean_recording = 0.0;
    for (std::size_t k = from; k < to; ++k) {
        mean_tone += marks[k].tone_s / count;
        mean_recording += marks[k].recording_s / count;
    }
    double above = 0.0;
    double below = 0.0;
    for (std::size_t k = from; k < to; ++k) {
        above += (marks[k].tone_s - mean_tone) * (marks[k].recording_s - mean_recording);
        below += (marks[k].tone_s - mean_tone) * (marks[k].tone_s - mean_tone);
    }
    const double ratio = to - from >= 3 ? above / below : given_ratio;
    return {mean_recording - ratio * mean_tone, ratio};
}

}  // namespace

Placement track_marks(const BandSignal& band, const TonePlan& plan, const Match& head) {
    Placement placement;
    const std::vector<FoundMark> marks = find_marks(band, plan, head);
    const std::size_t steps = plan.step_starts_s.size();
    placement.step_starts_s.assign(steps, 0.0);
    placement.step_sound.assign(steps, true);
    if (marks.empty()) {
        placement.start_s = head.at_s - plan.head_start_s;
        placement.lost_from = 0;
        placement.step_sound.assign(steps, false);
        return placement;
    }
    const double ratio = typical_ratio(marks);
    std::vector<double> strays;
    for (std::size_t k = 1; k < marks.size(); ++k) {
        strays.push_back(std::abs(marks[k].recording_s - marks[k - 1].recording_s -
                                  ratio * (marks[k].tone_s - marks[k - 1].tone_s)));
    }
    const double tolerance_s = std::max(smallest_jump_s, 10.0 * median(strays));

    const std::vector<std::size_t> mark_of = marks_of_steps(plan);
    const auto first_step_from = [&](std::size_t mark) {
        return static_cast<std::size_t>(std::lower_bound(mark_of.begin(), mark_of.end(), mark) -
                                        mark_of.begin());
    };
    std::size_t run_start = 0;
    bool first_run = true;
    std::size_t longest_run = 0;
    std::size_t next_step = 0;
    for (std::size_t k = 0; k < marks.size(); ++k) {
        const bool last = k + 1 == marks.size();
        if (!last && strays[k] <= tolerance_s) continue;
        const Line line = line_through(marks, run_start, k + 1, ratio);
        if (first_run) {
            placement.start_s = line.start_s;
            first_run = false;
        }
        // The run that tells the clock best, wherever it lies.
        if (const std::size_t run_marks = k + 1 - run_start; run_marks > longest_run) {
            longest_run = run_marks;
            placement.clock_ratio = line.ratio;
        }
        // The last mark of the run announces a step that the jump may lie in.
        const std::size_t sound_end = last ? steps : first_step_from(marks[k].index);
        for (; next_step < sound_end; ++next_step)
            placement.step_starts_s[next_step] = line.start_s + line.ratio * plan.step_starts_s[next_step];
        if (!last) {
            const double jump_s = marks[k + 1].recording_s - marks[k].recording_s -
                                  ratio * (marks[k + 1].tone_s - marks[k].tone_s);
            const std::size_t harmed_end = first_step_from(marks[k + 1].index);
            placement.jumps.push_back({marks[k].recording_s, marks[k + 1].recording_s, jump_s,
                                       next_step < harmed_end ? next_step : steps});
            for (; next_step < harmed_end; ++next_step) {
                placement.step_starts_s[next_step] =
                    line.start_s + line.ratio * plan.step_starts_s[next_step];
                placement.step_sound[next_step] = false;
            }
            run_start = k + 1;
        }
    }
    const std::size_t lost_from = first_step_from(marks.back().index);
    if (lost_from < steps) {
        placement.lost_from = lost_from;
        for (std::size_t step = lost_from; step < steps; ++step) placement.step_sound[step] = false;
    }
    return placement;
}

}  // namespace assay::analysis
