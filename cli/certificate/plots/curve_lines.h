// One column of a test's curves against its frequency, a line for each load that has it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "cli/files/session/session.h"

namespace assay::cli {

struct CurveLine {
    std::string name{};  // of the load, or of the curve where it belongs to the whole test
    const Numbers* numbers = nullptr;
    const analysis::Curve* curve = nullptr;
    std::vector<double> x{};
    std::vector<double> y{};  // NaN where there is no number
};

/// Lines with two numbers at least. `positive`: only those count, for a logarithmic scale.
std::vector<CurveLine> curve_lines(const TestRecord& record, const std::string& curve,
                                   const std::string& column, bool positive = false,
                                   const std::string& x_column = "frequency_hz");

/// The line's value at a frequency: that of a point within 1 %, else straight between its neighbours over the
/// logarithm; none outside. For drawing, where 1 % of frequency is nothing.
std::optional<double> value_at(const CurveLine& line, double frequency_hz);

}  // namespace assay::cli
