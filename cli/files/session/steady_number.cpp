#include "cli/files/session/steady_number.h"

#include <fmt/format.h>

#include <charconv>

namespace assay::cli {

double steady_number(double value) {
    const std::string text = fmt::format("{:.14g}", value);
    double steady = value;
    std::from_chars(text.data(), text.data() + text.size(), steady);
    return steady;
}

}  // namespace assay::cli
