#include "cli/measures/steps/limit_name.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

namespace assay::cli {

namespace {

bool is_limit(std::string_view text) {
    if (text.empty() || text.front() == '_' || text.back() == '_') return false;
    return text.find_first_not_of("0123456789_") == std::string_view::npos &&
           std::count(text.begin(), text.end(), '_') <= 1;
}

}  // namespace

std::string limit_in_name(double limit_percent) {
    std::string name = fmt::format("{}", limit_percent);
    std::replace(name.begin(), name.end(), '.', '_');
    return name;
}

std::string limit_in(std::string_view name, std::string_view before, std::string_view after) {
    if (name.size() <= before.size() + after.size() || !name.starts_with(before) || !name.ends_with(after))
        return {};
    const std::string_view limit = name.substr(before.size(), name.size() - before.size() - after.size());
    return is_limit(limit) ? std::string(limit) : std::string{};
}

std::optional<double> limit_value(std::string_view limit) {
    if (!is_limit(limit)) return std::nullopt;
    const std::string number = limit_as_number(std::string(limit));
    double value = 0.0;
    std::from_chars(number.data(), number.data() + number.size(), value);
    return value;
}

std::string limit_as_number(std::string limit) {
    std::replace(limit.begin(), limit.end(), '_', '.');
    return limit;
}

}  // namespace assay::cli
