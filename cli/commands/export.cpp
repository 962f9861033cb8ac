#include "cli/commands/commands.h"
#include "cli/files/posix.h"
#include "cli/files/session/session_file.h"

namespace assay::cli {

int run_export(const ExportOptions& options, const Manner& manner) {
    const auto session = read_session(options.session);
    if (!session) return report(session.error());
    ExportChoice choice = options.choice;
    choice.format = options.format == "spice"        ? ExportFormat::spice
                    : options.format == "touchstone" ? ExportFormat::touchstone
                    : options.format == "text"       ? ExportFormat::text
                                                     : ExportFormat::csv;
    const auto text = export_text(*session, choice);
    if (!text) return report(text.error());
    if (options.into.empty()) {
        print_result(*text);
        return exit_done;
    }
    if (const auto written = write_file_safely(options.into, *text); !written) return report(written.error());
    say(manner, "written: " + options.into.string());
    return exit_done;
}

}  // namespace assay::cli
