#include <fmt/format.h>

#include "cli/commands/commands.h"
#include "cli/files/demo_files.h"
#include "cli/files/posix.h"

namespace assay::cli {

namespace {

namespace fs = std::filesystem;

/// assay-demo, assay-demo-2, ...: an earlier demo is not written over.
fs::path free_folder() {
    fs::path folder = "assay-demo";
    std::error_code error;
    for (int number = 2; fs::exists(folder, error); ++number) folder = fmt::format("assay-demo-{}", number);
    return folder;
}

}  // namespace

int run_demo(const DemoOptions& options, const Manner& manner) {
    const fs::path folder = options.into.empty() ? free_folder() : options.into;
    std::error_code error;
    fs::create_directories(folder, error);
    if (error) {
        return report({capture::FaultKind::bad_arguments,
                       folder.string() + ": cannot be made: " + error.message(), std::nullopt,
                       "choose a folder that you may write to"});
    }
    const RunOptions run{
        .job = folder / "demo-job.toml", .bench = folder / "demo-bench.toml", .into = folder / "session"};
    for (const auto& [path, text] :
         {std::pair{run.job, demo_job_toml}, std::pair{run.bench, demo_bench_toml}}) {
        if (const auto written = write_file_safely(path, text); !written) return report(written.error());
    }
    say(manner,
        "A demonstration on the simulated bench: no real unit is measured and nothing sounds.\n"
        "Job and bench files to copy from: " +
            run.job.string() + ", " + run.bench.string());
    return run_session(run, manner);
}

}  // namespace assay::cli
