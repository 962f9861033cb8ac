// The header of a table of impedance: which column is what, in which unit. Internal to impedance_file.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

enum class ColumnRole { frequency, magnitude, phase, real, imaginary, scatter, other };

struct HeaderColumn {
    ColumnRole role = ColumnRole::other;
    std::string unit{};  // "hz", "khz", "ohm", "kohm", "mohm", "deg", "rad", "db"; empty where none is named
};

/// One cell: "Frequency (Hz)", "magnitude_ohm", "|Z| [Ω]", "Im(Z)".
HeaderColumn header_column(std::string_view cell);

/// Columns by index; magnitude and phase, or real and imaginary.
struct TableColumns {
    std::size_t frequency = 0;
    std::size_t first = 1;   // magnitude, or real part
    std::size_t second = 2;  // phase, or imaginary part
    std::optional<std::size_t> scatter{};
    bool polar = true;
    double hz_per_unit = 1.0;
    double first_ohm_per_unit = 1.0;
    double second_ohm_per_unit = 1.0;  // imaginary part only
    double scatter_ohm_per_unit = 1.0;
    std::string phase_unit{};  // "deg", "rad", or empty: to be told from the numbers
    std::size_t count = 3;
};

/// Is there a frequency and anything else that is known? Such a line is a header.
bool looks_like_header(const std::vector<std::string_view>& cells);

/// A fault names what is missing or stands twice.
[[nodiscard]] capture::Result<TableColumns> table_columns(const std::string& name, int line,
                                                          const std::vector<std::string_view>& cells);

}  // namespace assay::cli
