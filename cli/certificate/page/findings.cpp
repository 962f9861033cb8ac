// Why the unit falls short: one line each after the verdicts, the figures behind it with the details.
#include <algorithm>

#include "cli/certificate/page/first_sheet.h"
#include "cli/certificate/page/text_room.h"
#include "cli/files/plain_text.h"
#include "cli/files/session/session_findings.h"

namespace assay::cli {
namespace {

// The first page has room for two; the others stand with the details.
constexpr std::size_t on_first_page = 2;

}  // namespace

std::vector<Boxed> finding_boxes(const Session& session) {
    constexpr std::size_t longest_finding = 240;
    const std::string title = findings_title(session);
    std::vector<Boxed> boxes;
    for (const Finding& finding : session_findings(session)) {
        if (boxes.size() == on_first_page) break;
        const std::string text = short_text(finding.text, longest_finding);
        const std::string confidence = confidence_word(finding.confidence);
        Boxed box;
        box.entry.set("text", text);
        box.entry.set("confidence", confidence);
        box.mm = 1.5 + 3.8 * text_lines(title + ". " + text + " (" + confidence + ")", 180.0 / 1.08, 8.0);
        boxes.push_back(std::move(box));
    }
    return boxes;
}

void add_findings(const Session& session, PageData& page) {
    const std::vector<Finding> findings = session_findings(session);
    PageData all{PageData::type::list};
    for (const Finding& finding : findings) {
        PageData entry;
        entry.set("text", visible_text(finding.text));
        entry.set("confidence", confidence_word(finding.confidence));
        entry.set("next", visible_text(finding.next));
        PageData figures{PageData::type::list};
        for (const Evidence& evidence : finding.evidence) figures << text_section(evidence_words(evidence));
        entry.set("evidence", figures);
        all << entry;
    }
    page.set("all_findings", findings.empty() ? PageData{false} : PageData{"rows", all});
    page.set("findings_title", findings_title(session));
    page.set("findings", PageData{!findings.empty()});
    page.set("findings_left", findings.size() > on_first_page
                                  ? text_section(std::to_string(findings.size() - on_first_page))
                                  : PageData{false});
}

}  // namespace assay::cli
