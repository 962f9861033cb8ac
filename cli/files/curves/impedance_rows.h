// What the readers of impedance files share: rows with their line, and one-line complaints. Internal to
// impedance_file.
#pragma once

#include <complex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "capture/fault.h"
#include "cli/files/utf8.h"

namespace assay::cli {

struct ImpedanceRow {
    int line = 0;
    double frequency_hz = 0.0;
    std::complex<double> z_ohm{};
    double scatter_ohm = 0.0;  // 0: not known
};

/// "curve.csv:12: WHAT", with the mend.
tl::unexpected<capture::Fault> wrong_line(const std::string& name, int line, const std::string& what,
                                          const std::string& mend);

/// A finite number; where asked a comma is the decimal sign, and a point is none. Nothing for anything else.
std::optional<double> number_in(std::string_view text, bool decimal_comma);

/// Without line ends; the line after a final line end is left out.
std::vector<std::string_view> lines_of(std::string_view text);

/// Words separated by spaces and tabs.
std::vector<std::string_view> words_of(std::string_view line);

[[nodiscard]] capture::Result<std::vector<ImpedanceRow>> read_impedance_table(
    const std::string& name, const std::vector<std::string_view>& lines);
[[nodiscard]] capture::Result<std::vector<ImpedanceRow>> read_touchstone(
    const std::string& name, const std::vector<std::string_view>& lines);

}  // namespace assay::cli
