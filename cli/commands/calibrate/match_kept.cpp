#include "cli/commands/calibrate/match_kept.h"

#include "cli/files/curves/match_file.h"
#include "cli/files/posix.h"
#include "cli/measures/match.h"

namespace assay::cli {

capture::Result<void> keep_match(const Setup& setup, const TestRecord& record,
                                 const std::filesystem::path& folder) {
    if (setup.test->measure != "match" || record.result.fault) return {};
    const auto match = match_of(setup, record.takes);
    if (!match) return tl::unexpected<capture::Fault>(match.error());
    std::error_code error;
    const bool taken = std::filesystem::exists(folder / "match.json", error);
    return write_file_safely(folder / (taken ? "match-" + record.id + ".json" : "match.json"),
                             match_text(*match));
}

}  // namespace assay::cli
