#include "cli/certificate/paper.h"

#include "cli/files/plain_text.h"
#include "cli/files/posix.h"

namespace assay::cli {
namespace {

using capture::fail;
using capture::FaultKind;

constexpr double longest_conversion_s = 180.0;  // a small computer, a page with forty tests

/// The program's output; `what` and `package` for the one who has to install it.
capture::Result<std::string> output_of(const std::vector<std::string>& arguments, const std::string& input,
                                       const std::string& what, const std::string& package) {
    const auto run = run_program(arguments, input, longest_conversion_s);
    if (!run && run.error().kind == FaultKind::bad_input_file) {
        return fail(FaultKind::bad_arguments,
                    what + " is not made: " + arguments.front() + " is not installed",
                    "install the package " + package + ", then run `assay certify` on the session");
    }
    if (!run) return fail(run.error().kind, what + " is not made: " + run.error().text, run.error().mend);
    if (run->exit_status != 0 || run->out.empty()) {
        return fail(FaultKind::internal,
                    what + " is not made: " + arguments.front() + " failed: " + short_text(run->err, 200),
                    "see that the package " + package + " is whole; the HTML page is complete without it");
    }
    return run->out;
}

}  // namespace

capture::Result<std::string> pdf_of_page(const std::string& html) {
    return output_of({"weasyprint", "--quiet", "--encoding", "utf-8", "-", "-"}, html, "certificate.pdf",
                     "weasyprint");
}

capture::Result<std::string> picture_of_first_page(const std::filesystem::path& pdf) {
    return output_of({"pdftoppm", "-png", "-r", "130", "-f", "1", "-l", "1", "-singlefile", pdf.string()}, {},
                     "certificate.png", "poppler-utils");
}

}  // namespace assay::cli
