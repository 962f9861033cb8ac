// The program's command line: commands, options, exit statuses.
#pragma once

namespace assay::cli {

/// Exit status: 0 done, 1 internal error, 2 bad arguments or input file, 3 the capture cannot be trusted,
/// 4 verification failed, 130 stopped by hand.
int run_program(int argc, char** argv);

}  // namespace assay::cli
