// A job on a simulated bench, run in this process from its files as the command line would, and held against
// what the interface promises of any: a status that means something, messages that say what and the mend,
// only finite numbers, a session that reads back the same and is verified from its captures.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "capture/fault.h"
#include "cli/measures/job.h"

namespace assay::drawn {

/// Where a case lives. It stays there when the program dies of it, and when `keep` says so.
class CaseFolder {
  public:
    explicit CaseFolder(bool keep);
    ~CaseFolder();
    CaseFolder(const CaseFolder&) = delete;
    CaseFolder& operator=(const CaseFolder&) = delete;
    CaseFolder(CaseFolder&&) = delete;
    CaseFolder& operator=(CaseFolder&&) = delete;

    std::filesystem::path put(const std::string& name, const std::string& text) const;
    const std::filesystem::path& path() const { return path_; }

  private:
    std::filesystem::path path_;
    bool keep_ = false;
};

/// What came of it, in a word or two, and which promises were broken.
struct Outcome {
    std::string words{};
    std::vector<std::string> broken{};
};

/// A refusal of a file names it, the line, and the mend.
std::vector<std::string> broken_by_refusal(const capture::Fault& fault, const std::string& file);

/// Seconds that the tests of a job would play first, in all. Every tone is planned for it.
double planned_s(const cli::Job& job, const capture::Bench& bench);

/// Runs job.toml on bench.toml of the folder, which the readers have taken.
Outcome play(const CaseFolder& folder);

}  // namespace assay::drawn
