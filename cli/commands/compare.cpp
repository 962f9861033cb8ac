#include "cli/commands/commands.h"
#include "cli/files/comparison.h"
#include "cli/files/session_file.h"

namespace assay::cli {

int run_compare(const CompareOptions& options, const Manner& manner) {
    const auto left = read_session(options.left);
    if (!left) return report(left.error());
    const auto right = read_session(options.right);
    if (!right) return report(right.error());
    const Comparison comparison = compare(*left, *right, options.within_percent);
    print_result(manner.json ? comparison_json(comparison, *left, *right)
                             : comparison_text(comparison, *left, *right));
    return exit_done;
}

}  // namespace assay::cli
