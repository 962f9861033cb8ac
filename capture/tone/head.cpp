#include "capture/tone/head.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <utility>

namespace assay::capture {

namespace {

constexpr int head_chirps = 16;

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

ToneBuilder::ToneBuilder(double rate_hz, double frequency_hz, std::string code)
    : frequency_hz_(frequency_hz), code_(std::move(code)), mark_bits_(hash_of(code_, 0x6d61726bULL)) {
    tone_.rate_hz = rate_hz;
    frame_ = frames_of(tone_silence_s);
}

std::int64_t ToneBuilder::frames_of(double seconds) const {
    return static_cast<std::int64_t>(std::llround(seconds * tone_.rate_hz));
}

void ToneBuilder::add(std::int64_t frames, const SignalLaw& law, double level_dbfs, std::int64_t fade_frames,
                      SegmentRole role) {
    tone_.segments.push_back({frame_, frames, law, level_dbfs, fade_frames, role});
    frame_ += frames;
}

void ToneBuilder::add_head(double level_dbfs) {
    const std::uint32_t code = head_code(code_);
    const std::int64_t frames = frames_of(std::max(0.025, 12.0 / frequency_hz_));
    for (int bit = 0; bit < head_chirps; ++bit) {
        const bool rising = ((code >> bit) & 1U) != 0U;
        add(frames, chirp_around(frequency_hz_, tone_.rate_hz, 0.4, rising), level_dbfs, frames / 4,
            SegmentRole::head);
    }
    wait(head_gap_s);
}

void ToneBuilder::add_mark(double level_dbfs) {
    // A maximal-length shift register (x^16 + x^14 + x^13 + x^11 + 1) keeps marks a few steps apart unlike.
    const std::uint64_t fed =
        (mark_bits_ ^ (mark_bits_ >> 2U) ^ (mark_bits_ >> 3U) ^ (mark_bits_ >> 5U)) & 1U;
    mark_bits_ = ((mark_bits_ & 0xFFFFU) >> 1U) | (fed << 15U);
    const std::int64_t frames = frames_of(std::max(0.015, 8.0 / frequency_hz_));
    add(frames, chirp_around(frequency_hz_, tone_.rate_hz, 0.5, (mark_bits_ & 1U) != 0U), level_dbfs,
        frames / 4, SegmentRole::mark);
}

Tone ToneBuilder::finish() {
    tone_.frames = frame_ + frames_of(tone_silence_s);
    return std::move(tone_);
}

}  // namespace assay::capture
