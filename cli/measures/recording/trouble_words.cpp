#include "cli/measures/recording/trouble_words.h"

#include <fmt/format.h>

#include <cmath>
#include <string_view>

#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

namespace {

constexpr std::string_view level_jumps = "the level jumps";

}  // namespace

std::string overload_words(const capture::RawChannel& raw, const std::string& input, double from_s,
                           double to_s) {
    const auto* high = overlapping(raw.full_scale_positive, from_s, to_s);
    const auto* low = overlapping(raw.full_scale_negative, from_s, to_s);
    if (high == nullptr && low == nullptr) return {};
    return fmt::format("input overload: \"{}\" is at full scale at {}", input,
                       seconds_text(std::max((high != nullptr ? high : low)->from_s, from_s)));
}

std::string lost_buffer_words(const capture::RawChannel& raw, const std::string& input, double from_s,
                              double to_s, bool steady) {
    if (const auto* zeros = overlapping(raw.zeros_inside, from_s, to_s))
        return fmt::format("dropout at {}: {:.1f} ms of exact zeros in \"{}\"", seconds_text(zeros->from_s),
                           1e3 * (zeros->to_s - zeros->from_s), input);
    if (steady) return {};
    if (const auto* held = overlapping(raw.held, from_s, to_s))
        return fmt::format("dropout at {}: \"{}\" stands still for {:.1f} ms", seconds_text(held->from_s),
                           input, 1e3 * (held->to_s - held->from_s));
    for (const capture::RepeatedBlock& block : raw.repeated) {
        if (block.at_s < to_s && block.at_s + block.lasts_s > from_s)
            return fmt::format("repeated block at {}: {:.1f} ms come twice", seconds_text(block.at_s),
                               1e3 * block.block_s);
    }
    return {};
}

const char* jump_name(double jump_s) {
    return jump_s < 0.0 ? "dropout" : "repeated block";
}

std::string jump_size(double jump_s) {
    return fmt::format("{:.1f} ms {}", 1e3 * std::abs(jump_s), jump_s < 0.0 ? "are missing" : "too much");
}

std::string jump_words(const analysis::TimeJump& jump) {
    return fmt::format("{} between {} and {}: {}", jump_name(jump.jump_s), seconds_text(jump.after_s),
                       seconds_text(jump.before_s), jump_size(jump.jump_s));
}

std::string uneven_words(const analysis::Disturbance& jump, double from_s) {
    const std::string at = seconds_text(from_s + jump.at_s);
    if (jump.level)
        return fmt::format("{} at {}: a knob was turned, a contact gives way, or a protection acts",
                           level_jumps, at);
    return fmt::format("dropout or repeated block at {}: the tone jumps", at);
}

std::string record_again(bool overload, const std::string& words) {
    if (overload) return "lower the recorder's gain or raise the attenuation, then record again";
    if (words.find(level_jumps) != std::string::npos)
        return "leave every knob alone, look at leads and plugs, then record again";
    return "record again; close other programs, use a larger buffer or another recorder";
}

}  // namespace assay::cli
