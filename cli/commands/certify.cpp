#include "cli/certificate/certificate.h"
#include "cli/commands/commands.h"
#include "cli/files/session_file.h"

namespace assay::cli {

int run_certify(const CertifyOptions& options, const Manner& manner) {
    const auto session = read_session(options.session);
    if (!session) return report(session.error());
    PageOptions pages;
    for (const auto& fault : write_pages(*session, options.session, pages)) return report(fault);
    say(manner, "certificate: " + (options.session / "certificate.html").string());
    return exit_done;
}

}  // namespace assay::cli
