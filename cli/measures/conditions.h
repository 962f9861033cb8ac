// A condition of a test, by its name.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "cli/measures/result.h"

namespace assay::cli {

using Conditions = std::vector<std::pair<std::string, Condition>>;

/// The condition of that name, if it is there and of that type: double or std::string.
template <class T>
std::optional<T> condition_of(const Conditions& conditions, const std::string& name) {
    for (const auto& [key, value] : conditions) {
        if (key == name && std::holds_alternative<T>(value)) return std::get<T>(value);
    }
    return std::nullopt;
}

}  // namespace assay::cli
