// Files that a job and its bench name: they are copied into the session folder, so that a session is whole
// wherever it is taken. From then on job and bench name the copies, in `run` as in `verify`.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "capture/fault.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// Where a file stands in the session: under its own relative name where that stays inside the folder, else
/// under "inputs/" with a name that is made of its path.
std::string kept_name(const std::string& named);
/// "photographs/front.jpg" for "../pictures/front.jpg"; a second of the same name is
/// "photographs/front-2.jpg".
std::vector<std::string> kept_photographs(const std::vector<std::string>& named);

/// Lets a job name the copies: `from_file` of its tests, `photographs` of its unit.
void name_kept_files(Job& job);
/// The same of a bench: `match` of its jig, `response` of its inputs. The names of copies stay as they are.
void name_kept_files(capture::Bench& bench);

/// Copies them, photographs without what their camera wrote into them (picture_notes.h), then names the
/// copies. Faults name the key: a file that is not there, a photograph that is no JPEG or PNG or is larger
/// than 8 MB.
[[nodiscard]] capture::Result<void> keep_files(Job& job, capture::Bench& bench,
                                               const std::filesystem::path& job_file,
                                               const std::filesystem::path& bench_file,
                                               const std::filesystem::path& session);

}  // namespace assay::cli
