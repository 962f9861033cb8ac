// Benches and jobs of `assay demo`, an amplifier's and a driver's, embedded in the program from
// fixtures/demo.
#pragma once

#include <string_view>

namespace assay::cli {

extern const std::string_view demo_bench_toml;
extern const std::string_view demo_job_toml;
extern const std::string_view demo_driver_bench_toml;
extern const std::string_view demo_driver_job_toml;

}  // namespace assay::cli
