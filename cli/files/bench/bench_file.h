// Reads and checks a bench file (TOML), whole, before anything else happens.
#pragma once

#include <filesystem>
#include <string>

#include "capture/bench.h"
#include "capture/fault.h"

namespace assay::cli {

/// Fault of kind bad_input_file: file, line, key, what is wrong, the mend.
[[nodiscard]] capture::Result<capture::Bench> read_bench(const std::filesystem::path& path);
[[nodiscard]] capture::Result<capture::Bench> parse_bench(std::string_view text, const std::string& name);

/// Warnings that a sound bench file may still deserve (no uncertainty stated: the scale is taken as exact).
std::vector<std::string> bench_remarks(const capture::Bench& bench);

}  // namespace assay::cli
