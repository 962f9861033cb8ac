#include "capture/repeat_finder.h"

#include <algorithm>
#include <bit>
#include <cstring>

namespace assay::capture {

namespace {

constexpr std::int64_t window = 16;
constexpr std::size_t table_size = 4096;
constexpr std::int64_t never = -1;
constexpr std::size_t most_runs = 1000;
// A copy with fewer changes of value than this carries too little to be told from chance.
constexpr int fewest_changes = 16;
// Neighbours that agree in more than this part belong to a signal that repeats by itself.
constexpr double alike_part = 0.75;
// A block is delivered twice, or three times. A longer run is the signal's own period, unless the
// recording as a whole hardly repeats.
constexpr double longest_run_blocks = 2.5;
constexpr double rare_part = 0.05;

std::uint32_t bits_of(float value) {
    return std::bit_cast<std::uint32_t>(value);
}

// Odd multipliers from the golden ratio; the products are independent of each other and run in parallel.
std::size_t slot_of(const float* last) {
    std::uint64_t sum = 0;
    for (std::int64_t i = 0; i < window; ++i) {
        sum += (bits_of(last[-i]) + 0x9E3779B9ULL) *
               (0x9E3779B97F4A7C15ULL * static_cast<std::uint64_t>(2 * i + 1));
    }
    return static_cast<std::size_t>((sum ^ (sum >> 29U)) * 0xBF58476D1CE4E5B9ULL >> 52U);
}
static_assert(table_size == 1U << 12U);

// About eight windows in each millisecond.
unsigned shift_for(double rate_hz) {
    if (rate_hz > 150e3) return 32 - 4;
    if (rate_hz > 75e3) return 32 - 3;
    return 32 - 2;
}

}  // namespace

RepeatFinder::RepeatFinder(std::int64_t shortest_lag, std::int64_t longest_lag, double rate_hz)
    : shortest_lag_(std::max(shortest_lag, window)),
      longest_lag_(longest_lag),
      choice_shift_(shift_for(rate_hz)),
      table_(table_size, never) {}

bool RepeatFinder::looked_at(std::int64_t frame, std::int64_t lag) const {
    return std::any_of(recent_.begin(), recent_.end(), [&](const Run& run) {
        return run.lag == lag && frame >= run.start && frame < run.end;
    });
}

bool RepeatFinder::alike(std::int64_t first, std::int64_t last, std::int64_t lag) const {
    first = std::max(first, origin_ + lag);
    last = std::min(last, end_);
    if (last - first < window) return false;
    std::int64_t same = 0;
    for (std::int64_t n = first; n < last; ++n) same += at(n) == at(n - lag) ? 1 : 0;
    return static_cast<double>(same) > alike_part * static_cast<double>(last - first);
}

void RepeatFinder::extend(Run& run) const {
    while (run.end < end_ && at(run.end) == at(run.end - run.lag)) ++run.end;
    run.open = run.end == end_;
}

void RepeatFinder::close(const Run& run) {
    const std::int64_t length = run.end - run.start;
    if (length < run.lag) return;
    repeated_frames_ += length;
    if (waiting_.size() >= most_runs) return;
    int changes = 0;
    for (std::int64_t n = std::max(run.end - run.lag, origin_) + 1; n < run.end; ++n) {
        changes += at(n) != at(n - 1) ? 1 : 0;
    }
    if (changes >= fewest_changes) waiting_.push_back(run);
}

void RepeatFinder::follow(std::int64_t frame, std::int64_t lag) {
    Run run{.lag = lag, .start = frame + 1, .end = frame + 1};
    while (run.start - 1 - lag >= origin_ && at(run.start - 1) == at(run.start - 1 - lag)) --run.start;
    if (run.end - run.start < window) return;
    extend(run);
    // Only a run that may still become long enough is worth a look at what stands before it.
    if (run.open || run.end - run.start >= lag) run.alike_before = alike(run.start - lag, run.start, lag);
    Run& place = recent_[next_recent_];
    next_recent_ = (next_recent_ + 1) % recent_.size();
    if (place.open) close(place);
    place = run;
    if (!run.open) close(run);
}

void RepeatFinder::judge(bool at_the_end) {
    const auto ready = [&](const Run& run) {
        if (!at_the_end && run.end + run.lag > end_) return false;
        const std::int64_t length = run.end - run.start;
        const Repeat repeat{.first_frame = run.start, .lag = run.lag, .frames = length};
        if (run.alike_before || alike(run.end, run.end + run.lag, run.lag)) return true;
        const bool is_long = static_cast<double>(length) >= longest_run_blocks * static_cast<double>(run.lag);
        auto& list = is_long ? long_runs_ : found_;
        if (list.size() < most_runs) list.push_back(repeat);
        return true;
    };
    std::erase_if(waiting_, ready);
}

ASSAY_WIDE void RepeatFinder::choose(std::span<const float> block) {
    chosen_.resize(block.size());
    std::uint32_t* chosen = chosen_.data();
    const float* samples = block.data();
    const unsigned shift = choice_shift_;
    for (std::size_t i = 0; i < block.size(); ++i)
        chosen[i] = (bits_of(samples[i]) + 0x3C6EF372U) * 0x9E3779B1U >> shift;
}

void RepeatFinder::feed(std::span<const float> block) {
    // What is kept must reach back over a block, its original, and the neighbours of both.
    const auto keep = std::min<std::size_t>(buffer_.size(), static_cast<std::size_t>(4 * longest_lag_));
    std::copy(buffer_.end() - static_cast<std::ptrdiff_t>(keep), buffer_.end(), buffer_.begin());
    origin_ = end_ - static_cast<std::int64_t>(keep);
    buffer_.resize(keep + block.size());
    std::copy(block.begin(), block.end(), buffer_.begin() + static_cast<std::ptrdiff_t>(keep));
    const std::int64_t begin = end_;
    end_ += static_cast<std::int64_t>(block.size());

    for (Run& run : recent_) {
        if (!run.open) continue;
        extend(run);
        if (!run.open) close(run);
    }
    const float* samples = buffer_.data() + keep;
    const auto first = static_cast<std::size_t>(std::max<std::int64_t>(window - 1 - begin, 0));
    choose(block);
    for (std::size_t i = first; i < block.size(); ++i) {
        if (chosen_[i] != 0) continue;
        const float* last = samples + i;
        if (last[0] == last[-1] && last[0] == last[-7] && last[0] == last[1 - window]) continue;
        const std::int64_t frame = begin + static_cast<std::int64_t>(i);
        std::int64_t& seen = table_[slot_of(last)];
        const std::int64_t lag = seen == never ? 0 : frame - seen;
        seen = frame;
        if (lag < shortest_lag_ || lag > longest_lag_ || looked_at(frame, lag)) continue;
        if (!std::equal(last - 3, last + 1, last - 3 - lag)) continue;
        follow(frame, lag);
    }
    judge(false);
}

std::vector<RepeatFinder::Repeat> RepeatFinder::finish() {
    for (Run& run : recent_) {
        if (run.open) close(run);
        run = Run{};
    }
    judge(true);
    if (static_cast<double>(repeated_frames_) < rare_part * static_cast<double>(end_)) {
        found_.insert(found_.end(), long_runs_.begin(), long_runs_.end());
    }
    std::sort(found_.begin(), found_.end(),
              [](const Repeat& a, const Repeat& b) { return a.first_frame < b.first_frame; });
    return found_;
}

}  // namespace assay::capture
