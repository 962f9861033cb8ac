// The curves of a session as CSV files (RFC 4180): one file a curve, the first line names the columns with
// their units, as in session.json.
#pragma once

#include <filesystem>
#include <vector>

#include "capture/fault.h"
#include "cli/files/session.h"

namespace assay::cli {

/// "power-4-ohm.load-a.level.csv" into the folder, which is made where it is missing. Gives the files.
[[nodiscard]] capture::Result<std::vector<std::filesystem::path>> write_curve_tables(
    const Session& session, const std::filesystem::path& folder);

/// Numbers in their shortest exact form, with a point; a comma between columns, line ends CRLF.
std::string curve_table(const analysis::Curve& curve);

}  // namespace assay::cli
