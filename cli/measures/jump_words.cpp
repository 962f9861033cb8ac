#include "cli/measures/jump_words.h"

#include <fmt/format.h>

#include <string_view>

#include "cli/measures/staircase_reading.h"

namespace assay::cli {

namespace {

constexpr std::string_view level_jumps = "the level jumps";

}  // namespace

std::string jump_words(const analysis::Disturbance& jump, double from_s) {
    const std::string at = seconds_text(from_s + jump.at_s);
    if (jump.level)
        return fmt::format("{} at {}: a knob was turned, a contact gives way, or a protection acts",
                           level_jumps, at);
    return fmt::format("dropout or repeated block at {}: the tone jumps", at);
}

std::string mend_of_trouble(const std::string& words, bool overload) {
    if (overload) return "lower the recorder's gain or raise the attenuation, then record again";
    if (words.find(level_jumps) != std::string::npos)
        return "leave every knob alone, look at leads and plugs, then record again";
    return "record again; close other programs, use a larger buffer or another recorder";
}

}  // namespace assay::cli
