#include "cli/certificate/certificate.h"
#include "cli/commands/commands.h"
#include "cli/files/session_file.h"

namespace assay::cli {

int run_certify(const CertifyOptions& options, const Manner& manner) {
    const auto session = read_session(options.session);
    if (!session) return report(session.error());
    if (const auto written = write_certificate(*session, options.session); !written)
        return report(written.error());
    say(manner, "certificate: " + (options.session / "certificate.html").string());
    return exit_done;
}

}  // namespace assay::cli
