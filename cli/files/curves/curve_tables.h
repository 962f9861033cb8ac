// The curves of a session as CSV files (RFC 4180): one file a curve, the first line names the columns with
// their units, as in session.json.
#pragma once

#include <filesystem>
#include <vector>

#include "capture/fault.h"
#include "cli/files/session/session.h"

namespace assay::cli {

/// "power-4-ohm.load-a.level.csv" into the folder, which is made where it is missing. Gives the files.
[[nodiscard]] capture::Result<std::vector<std::filesystem::path>> write_curve_tables(
    const Session& session, const std::filesystem::path& folder);

/// How a table is written: RFC 4180 unless told otherwise.
struct TableForm {
    std::string separator = ",";
    std::string line_end = "\r\n";
    std::string no_number{};  // in the place of a number that could not be given
    std::string head{};       // before the names of the columns
};

/// The names of the columns, which end in their units, then numbers in their shortest exact form, with a
/// point.
std::string curve_table(const analysis::Curve& curve, const TableForm& form = {});

}  // namespace assay::cli
