#include <fmt/format.h>

#include <array>
#include <string_view>

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

struct DemoPart {
    std::string title{};
    RunOptions run{};
    std::string_view job_text{};
    std::string_view bench_text{};
};

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
    const std::array<DemoPart, 2> parts{DemoPart{"An amplifier",
                                                 {.job = folder / "demo-job.toml",
                                                  .bench = folder / "demo-bench.toml",
                                                  .into = folder / "session"},
                                                 demo_job_toml,
                                                 demo_bench_toml},
                                        DemoPart{"A loudspeaker driver",
                                                 {.job = folder / "driver-job.toml",
                                                  .bench = folder / "driver-bench.toml",
                                                  .into = folder / "driver-session"},
                                                 demo_driver_job_toml,
                                                 demo_driver_bench_toml}};
    for (const DemoPart& part : parts) {
        for (const auto& [path, text] :
             {std::pair{part.run.job, part.job_text}, std::pair{part.run.bench, part.bench_text}}) {
            if (const auto written = write_file_safely(path, text); !written) return report(written.error());
        }
    }
    say(manner, "A demonstration on the simulated bench: no real unit is measured and nothing sounds.");
    for (const DemoPart& part : parts) {
        say(manner, "\n" + part.title + "; job and bench files to copy from: " + part.run.job.string() +
                        ", " + part.run.bench.string());
        if (const int status = run_session(part.run, manner); status != exit_done) return status;
    }
    return exit_done;
}

}  // namespace assay::cli
