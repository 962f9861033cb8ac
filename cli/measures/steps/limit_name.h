// The distortion limit in a quantity's name: "0_1" of power_at_0_1_percent_w.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace assay::cli {

/// "0_1" of 0.1.
std::string limit_in_name(double limit_percent);

/// Digits with at most one '_' between them, which stands for the point; empty where the name does not begin
/// and end like this or holds anything else.
std::string limit_in(std::string_view name, std::string_view before, std::string_view after);

/// 0.1 of "0_1"; nothing for anything but such a limit.
std::optional<double> limit_value(std::string_view limit);

/// "0.1" of "0_1".
std::string limit_as_number(std::string limit);

}  // namespace assay::cli
