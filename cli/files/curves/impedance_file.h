// Impedance curves in files, as other programs write and read them: CSV, whitespace text, Touchstone 1-port.
//
// A table (CSV or text) names its columns and units in a header, which may stand in a comment: frequency with
// magnitude and phase, or with real and imaginary part. Without a header its three columns are Hz, ohm and
// phase. The unit of a phase that no header names is told from the numbers where only one unit is possible
// (see impedance_table.cpp), and asked for where both are. Touchstone is version 1.1, from memory of that
// text.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "analysis/driver/impedance_curve.h"
#include "capture/fault.h"

namespace assay::cli {

/// Faults of kind bad_input_file: one line with the file and the line in it. Points come by rising frequency;
/// a file that falls throughout is turned round, any other order is refused. `systematic` is left empty.
[[nodiscard]] capture::Result<analysis::ImpedanceCurve> read_impedance_file(
    const std::filesystem::path& path);

/// The text of a file under its name: what `read_impedance_file` does after reading.
[[nodiscard]] capture::Result<analysis::ImpedanceCurve> parse_impedance(const std::string& name,
                                                                        std::string_view text);

/// Comment lines are put at the head. Numbers are in their shortest form that reads back to the same bits.
/// CSV has no comments (many programs take none): frequency_hz,magnitude_ohm,phase_deg and, where the scatter
/// of the points is known, scatter_ohm: one standard deviation of the real part and of the imaginary part.
std::string impedance_csv(const analysis::ImpedanceCurve& curve);
std::string impedance_text(const analysis::ImpedanceCurve& curve, const std::vector<std::string>& comments);
std::string impedance_touchstone(const analysis::ImpedanceCurve& curve,
                                 const std::vector<std::string>& comments);

}  // namespace assay::cli
