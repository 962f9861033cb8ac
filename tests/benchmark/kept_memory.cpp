// The allocator of the benchmarks is set as the program sets its own.
#include "cli/commands/program/kept_memory.h"

namespace {

const bool kept = (assay::cli::keep_freed_memory(), true);

}  // namespace
