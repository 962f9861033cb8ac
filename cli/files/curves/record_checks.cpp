#include "cli/files/curves/record_checks.h"

#include <fmt/format.h>

#include "cli/files/plain_text.h"

namespace assay::cli {

std::string wrong_schema(const std::string& found, const std::string& wanted) {
    if (found == wanted) return {};
    return fmt::format("schema is \"{}\" and should be \"{}\"", visible_text(found, 60), wanted);
}

bool frequencies_rise(const std::vector<double>& frequency_hz) {
    double before = 0.0;
    for (const double hz : frequency_hz) {
        if (!(hz > before)) return false;
        before = hz;
    }
    return true;
}

}  // namespace assay::cli
