#include "capture/tone/staircase.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>

namespace assay::capture {

namespace {

constexpr double silence_s = 0.5;  // players swallow the first instants and cut the last ones
constexpr int head_chirps = 16;
constexpr double head_gap_s = 0.1;
constexpr double head_below_top_db = 10.0;

/// FNV-1a (Fowler, Noll, Vo), 64 bits: spreads similar ids over the codes.
std::uint64_t hash_of(const std::string& text, std::uint64_t salt) {
    std::uint64_t hash = 14695981039346656037ULL ^ salt;
    for (const char letter : text) {
        hash ^= static_cast<unsigned char>(letter);
        hash *= 1099511628211ULL;
    }
    return hash ^ (hash >> 32);
}

/// As many rising as falling chirps, give or take two, and unlike itself played backwards.
std::uint32_t head_code(const std::string& text) {
    for (std::uint64_t salt = 0;; ++salt) {
        const auto code = static_cast<std::uint32_t>(hash_of(text, salt) & 0xFFFFU);
        std::uint32_t backwards = 0;  // time reversal turns a rising chirp into a falling one
        for (int bit = 0; bit < head_chirps; ++bit) {
            if (((code >> bit) & 1U) == 0U) backwards |= 1U << (head_chirps - 1 - bit);
        }
        if (std::abs(std::popcount(code) - head_chirps / 2) <= 2 && std::popcount(code ^ backwards) >= 6)
            return code;
    }
}

Chirp chirp_around(double frequency_hz, double rate_hz, double share, bool rising) {
    const double low = frequency_hz * (1.0 - share);
    const double high = std::min(frequency_hz * (1.0 + share),
                                 std::max(0.45 * std::min(rate_hz, 44100.0), frequency_hz * 1.02));
    return rising ? Chirp{low, high} : Chirp{high, low};
}

}  // namespace

double shortest_step_s(double frequency_hz) {
    return std::max(0.16, 16.0 / frequency_hz);
}

Tone make_staircase(const StaircaseOptions& options) {
    const double rate = options.rate_hz;
    const auto frames_of = [rate](double seconds) {
        return static_cast<std::int64_t>(std::llround(seconds * rate));
    };
    const double f = options.frequency_hz;
    const std::int64_t head_chirp_frames = frames_of(std::max(0.025, 12.0 / f));
    const std::int64_t mark_frames = frames_of(std::max(0.015, 8.0 / f));
    const std::int64_t step_frames = frames_of(std::max(options.step_s, shortest_step_s(f)));
    const std::int64_t fade = frames_of(0.003);

    Tone tone;
    tone.rate_hz = rate;
    const double top = *std::max_element(options.levels_dbfs.begin(), options.levels_dbfs.end());
    const double bottom = *std::min_element(options.levels_dbfs.begin(), options.levels_dbfs.end());
    const double head_level = std::max(top - head_below_top_db, std::min(bottom, top));

    std::int64_t frame = frames_of(silence_s);
    const auto add = [&](std::int64_t frames, SignalLaw law, double level, std::int64_t fade_frames,
                         SegmentRole role) {
        tone.segments.push_back({frame, frames, law, level, fade_frames, role});
        frame += frames;
    };
    const std::uint32_t code = head_code(options.code);
    for (int bit = 0; bit < head_chirps; ++bit) {
        const bool rising = ((code >> bit) & 1U) != 0U;
        add(head_chirp_frames, chirp_around(f, rate, 0.4, rising), head_level, head_chirp_frames / 4,
            SegmentRole::head);
    }
    frame += frames_of(head_gap_s);
    std::uint64_t mark_bits = hash_of(options.code, 0x6d61726bULL);
    const auto add_mark = [&](double level) {
        // A maximal-length shift register (x^16 + x^14 + x^13 + x^11 + 1) keeps marks a few steps apart
        // unlike.
        const std::uint64_t fed =
            (mark_bits ^ (mark_bits >> 2U) ^ (mark_bits >> 3U) ^ (mark_bits >> 5U)) & 1U;
        mark_bits = ((mark_bits & 0xFFFFU) >> 1U) | (fed << 15U);
        add(mark_frames, chirp_around(f, rate, 0.5, (mark_bits & 1U) != 0U), level, mark_frames / 4,
            SegmentRole::mark);
    };
    for (const double level : options.levels_dbfs) {
        add_mark(level);
        add(step_frames, SteadySine{f, 0.0}, level, fade, SegmentRole::step);
    }
    add_mark(options.levels_dbfs.back());
    tone.frames = frame + frames_of(silence_s);
    return tone;
}

}  // namespace assay::capture
