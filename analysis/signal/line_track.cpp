#include "analysis/signal/line_track.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "analysis/signal/band_power.h"
#include "analysis/signal/median.h"

namespace assay::analysis {

namespace {

using Peak = LineTracker::Peak;

constexpr double frame_s = 0.125;  // half overlapping
constexpr double from_hz = 100.0;
constexpr double to_hz = 20000.0;
constexpr double around_hz = 400.0;        // whose median is the noise
constexpr double least_stands_out = 25.0;  // of 20,000 bins of noise one in 3,000 frames does
constexpr std::size_t most_peaks = 8;      // of a frame
constexpr double lobe_bins = 4.0;
constexpr double step_share = 0.02;  // that a line may move from frame to frame
constexpr double step_hz = 12.0;
constexpr std::size_t longest_gap = 4;  // frames
constexpr double least_share = 0.5;     // of the frames
constexpr double steady_share = 0.5;    // of the frames within one place: it stands
constexpr double moved_share = 0.02;    // of its frequency, and
constexpr double moved_hz = 30.0;
constexpr double gap_cost = 1.0;

bool near(double a_hz, double b_hz, std::size_t frames) {
    return std::abs(a_hz - b_hz) <=
           static_cast<double>(frames) * (step_hz + step_share * std::max(a_hz, b_hz));
}

/// Without the peaks of lines that stand still, hum among them.
std::vector<std::vector<Peak>> moving_only(const std::vector<std::vector<Peak>>& frames) {
    const auto place = [](const Peak& peak) { return std::lround(peak.frequency_hz / step_hz); };
    std::map<long, std::size_t> seen;
    for (const auto& frame : frames) {
        for (const Peak& peak : frame) ++seen[place(peak)];
    }
    const auto times = [&](long at) {
        std::size_t sum = 0;
        for (long k = at - 1; k <= at + 1; ++k) {
            const auto found = seen.find(k);
            if (found != seen.end()) sum += found->second;
        }
        return static_cast<double>(sum);
    };
    std::vector<std::vector<Peak>> left;
    for (const auto& frame : frames) {
        left.emplace_back();
        for (const Peak& peak : frame) {
            if (times(place(peak)) < steady_share * static_cast<double>(frames.size()))
                left.back().push_back(peak);
        }
    }
    return left;
}

struct Node {
    double score = 0.0;
    std::size_t from_frame = 0;
    std::size_t from_peak = 0;
    bool first = true;
};

/// The path of the highest sum of log ratios, gaps counted off.
std::vector<Peak> best_path(const std::vector<std::vector<Peak>>& frames) {
    std::vector<std::vector<Node>> nodes;
    std::size_t end_frame = 0;
    std::size_t end_peak = 0;
    double best = 0.0;
    for (std::size_t t = 0; t < frames.size(); ++t) {
        nodes.emplace_back(frames[t].size());
        for (std::size_t p = 0; p < frames[t].size(); ++p) {
            Node& node = nodes[t][p];
            const double own = std::log(frames[t][p].stands_out);
            node.score = own;
            for (std::size_t back = 1; back <= std::min(t, longest_gap + 1); ++back) {
                for (std::size_t q = 0; q < frames[t - back].size(); ++q) {
                    if (!near(frames[t][p].frequency_hz, frames[t - back][q].frequency_hz, back)) continue;
                    const double score =
                        nodes[t - back][q].score + own - gap_cost * static_cast<double>(back - 1);
                    if (score > node.score) node = {score, t - back, q, false};
                }
            }
            if (node.score > best) {
                best = node.score;
                end_frame = t;
                end_peak = p;
            }
        }
    }
    std::vector<Peak> path;
    if (best <= 0.0) return path;
    for (bool more = true; more;) {
        path.push_back(frames[end_frame][end_peak]);
        const Node node = nodes[end_frame][end_peak];
        more = !node.first;
        end_frame = node.from_frame;
        end_peak = node.from_peak;
    }
    return path;
}

}  // namespace

LineTracker::LineTracker(double rate_hz)
    : rate_hz_(rate_hz), frame_(2 * static_cast<std::size_t>(0.5 * frame_s * rate_hz)) {}

void LineTracker::feed(std::span<const double> volts) {
    for (std::size_t first = 0; first < volts.size();) {
        const std::size_t count = std::min(volts.size() - first, frame_ - waiting_.size());
        waiting_.insert(waiting_.end(), volts.begin() + static_cast<std::ptrdiff_t>(first),
                        volts.begin() + static_cast<std::ptrdiff_t>(first + count));
        first += count;
        if (waiting_.size() == frame_) take_frame();
    }
}

void LineTracker::take_frame() {
    double mean = 0.0;
    for (const double value : waiting_) mean += value / static_cast<double>(frame_);
    for (double& value : waiting_) value -= mean;
    const PowerSpectrum spectrum = power_spectrum(waiting_, rate_hz_);
    for (double& value : waiting_) value += mean;
    waiting_.erase(waiting_.begin(), waiting_.begin() + static_cast<std::ptrdiff_t>(frame_ / 2));
    const auto& bins = spectrum.bins;
    const double bin_hz = spectrum.bin_hz;
    const auto last = std::min(static_cast<std::size_t>(to_hz / bin_hz), bins.size() - 2);
    const auto width = static_cast<std::size_t>(around_hz / bin_hz);
    // The noise by stretches: a median for each bin would cost more than all the rest.
    std::vector<double> noise;
    for (std::size_t from = 0; from <= last; from += width)
        noise.push_back(median(std::vector<double>(
            bins.begin() + static_cast<std::ptrdiff_t>(from),
            bins.begin() + static_cast<std::ptrdiff_t>(std::min(from + width, bins.size())))));
    // The line's lobe, and what its frequency moves within a frame.
    const double resolution_hz = 1.0 / frame_s;
    std::vector<Peak> peaks;
    for (auto k = static_cast<std::size_t>(from_hz / bin_hz) + 1; k <= last; ++k) {
        const double under = noise[k / width];
        if (bins[k] < least_stands_out * under || bins[k] < bins[k - 1] || bins[k] <= bins[k + 1]) continue;
        const double hz = bin_hz * static_cast<double>(k);
        const double half_hz = lobe_bins * resolution_hz + step_share * hz;
        double inside = 0.0;
        double count = 0.0;
        bool highest = true;
        const auto begin = static_cast<std::size_t>(std::max(hz - half_hz, 0.0) / bin_hz);
        for (std::size_t m = begin; m <= std::min(static_cast<std::size_t>((hz + half_hz) / bin_hz), last);
             ++m) {
            inside += bins[m];
            count += 1.0;
            highest = highest && bins[m] <= bins[k];
        }
        // A bin of noise is chi-squared of two degrees of freedom: its median is ln 2 of its mean.
        if (highest)
            peaks.push_back({hz, std::max(inside - count * under / std::log(2.0), 0.0), bins[k] / under});
    }
    std::sort(peaks.begin(), peaks.end(),
              [](const Peak& a, const Peak& b) { return a.stands_out > b.stands_out; });
    if (peaks.size() > most_peaks) peaks.resize(most_peaks);
    frames_.push_back(std::move(peaks));
}

std::optional<MovingLine> LineTracker::finish() const {
    const std::vector<Peak> path = best_path(moving_only(frames_));
    MovingLine line;
    line.share = static_cast<double>(path.size()) / std::max(static_cast<double>(frames_.size()), 1.0);
    if (path.size() < 8 || line.share < least_share) return std::nullopt;
    line.lowest_hz = line.highest_hz = path.front().frequency_hz;
    double power = 0.0;
    for (const Peak& peak : path) {
        line.lowest_hz = std::min(line.lowest_hz, peak.frequency_hz);
        line.highest_hz = std::max(line.highest_hz, peak.frequency_hz);
        power += peak.power / static_cast<double>(path.size());
    }
    if (line.highest_hz - line.lowest_hz < std::max(moved_hz, moved_share * line.lowest_hz))
        return std::nullopt;
    line.volts = std::sqrt(power);
    return line;
}

}  // namespace assay::analysis
