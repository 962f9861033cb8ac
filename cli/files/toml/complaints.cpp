#include "cli/files/toml/complaints.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace assay::cli {

void Complaints::add(int line, std::string text, std::string mend) {
    all_.push_back({line, std::move(text), std::move(mend)});
}

capture::Fault Complaints::first() const {
    const auto lowest = std::min_element(
        all_.begin(), all_.end(), [](const Complaint& a, const Complaint& b) { return a.line < b.line; });
    capture::Fault fault;
    fault.kind = capture::FaultKind::bad_input_file;
    fault.text = fmt::format("{}:{}: {}", file_name_, lowest->line, lowest->text);
    fault.mend = lowest->mend;
    return fault;
}

bool Range::holds(double value) const {
    if (std::isnan(value)) return false;
    if (std::isinf(value)) return infinity_allowed && value > 0.0;
    if (value < minimum || value > maximum || (above_minimum && value == minimum)) return false;
    return !whole || value == std::floor(value);
}

std::string Range::in_words() const {
    constexpr double open = std::numeric_limits<double>::max();
    const std::string with_unit = unit.empty() ? "" : " " + unit;
    std::string words = whole ? "a whole number" : "a number";
    if (minimum > -open && maximum < open) {
        words += above_minimum ? fmt::format(" above {} and up to {}", minimum, maximum)
                               : fmt::format(" from {} to {}", minimum, maximum);
    } else if (minimum > -open) {
        words += above_minimum ? fmt::format(" above {}", minimum) : fmt::format(" from {} upwards", minimum);
    } else if (maximum < open) {
        words += fmt::format(" up to {}", maximum);
    }
    return words + with_unit + (infinity_allowed ? ", or inf" : "");
}

Range positive(std::string unit, double maximum) {
    return {.minimum = 0.0, .maximum = maximum, .above_minimum = true, .unit = std::move(unit)};
}
Range from_to(double minimum, double maximum, std::string unit) {
    return {.minimum = minimum, .maximum = maximum, .unit = std::move(unit)};
}
Range whole_from_to(double minimum, double maximum) {
    return {.minimum = minimum, .maximum = maximum, .whole = true};
}

}  // namespace assay::cli
