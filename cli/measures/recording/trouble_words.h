// What speaks against a stretch of a recording, in the words that all readers of recordings share.
#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "analysis/amplifier/disturbance.h"
#include "analysis/signal/alignment.h"
#include "capture/raw_checks.h"

namespace assay::cli {

/// Zeros, held values and repeats count as a lost buffer where the channel's peak (full scale 1.0) is at
/// least this, and does not round to them.
inline constexpr double loud_enough = 0.003;

/// The first interval that reaches into a stretch, seconds of the recording; null where none does.
template <class Span>
const Span* overlapping(const std::vector<Span>& spans, double from_s, double to_s) {
    const auto found = std::find_if(spans.begin(), spans.end(), [&](const Span& span) {
        return span.from_s < to_s && span.to_s > from_s;
    });
    return found == spans.end() ? nullptr : &*found;
}

/// Each of these is empty where the stretch is free of it.
std::string overload_words(const capture::RawChannel& raw, const std::string& input, double from_s,
                           double to_s);
/// Zeros inside; unless `steady`, held values and repeated blocks too: a steady tone may give those honestly.
std::string lost_buffer_words(const capture::RawChannel& raw, const std::string& input, double from_s,
                              double to_s, bool steady);

/// "dropout" or "repeated block", by the sign of a jump in time.
const char* jump_name(double jump_s);
/// "3.0 ms are missing" or "3.0 ms too much".
std::string jump_size(double jump_s);
/// "dropout between 1.20 s and 1.45 s: 3.0 ms are missing"
std::string jump_words(const analysis::TimeJump& jump);

/// "dropout or repeated block at 3.56 s: the tone jumps", or that the level does. `from_s`: where the record
/// that is uneven in itself began.
std::string uneven_words(const analysis::Disturbance& jump, double from_s);

/// What to do about a capture that cannot be trusted; `words` are those of its trouble.
std::string record_again(bool overload, const std::string& words = {});

}  // namespace assay::cli
