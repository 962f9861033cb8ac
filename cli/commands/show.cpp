#include "cli/files/show.h"

#include "cli/commands/commands.h"
#include "cli/files/session_file.h"

namespace assay::cli {

int run_show(const ShowOptions& options, const Manner& manner) {
    const auto session = read_session(options.session);
    if (!session) return report(session.error());
    print_result(manner.json ? session_text(*session) : show_text(*session));
    return exit_done;
}

}  // namespace assay::cli
