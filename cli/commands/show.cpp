#include "cli/report/show.h"

#include "cli/commands/commands.h"
#include "cli/files/session/session_file.h"

namespace assay::cli {

int run_show(const ShowOptions& options, const Manner& manner) {
    const auto session = read_session(options.session);
    if (!session) return report(session.error());
    if (manner.json)
        print_result(session_text(*session));
    else
        print_text(show_text(*session));
    return exit_done;
}

}  // namespace assay::cli
