// Why the unit falls short: one line each after the verdicts, the figures behind it with the details.
#include "cli/certificate/page_parts.h"
#include "cli/files/plain_text.h"
#include "cli/files/session_findings.h"

namespace assay::cli {

void add_findings(const Session& session, PageData& page) {
    // The first page has room for two; the others stand with the details.
    constexpr std::size_t on_first_page = 2;
    const std::vector<Finding> findings = session_findings(session);
    PageData shown{PageData::type::list};
    PageData all{PageData::type::list};
    for (std::size_t i = 0; i < findings.size(); ++i) {
        PageData entry;
        entry.set("text", visible_text(findings[i].text));
        entry.set("confidence", confidence_word(findings[i].confidence));
        entry.set("next", visible_text(findings[i].next));
        PageData figures{PageData::type::list};
        for (const Evidence& evidence : findings[i].evidence)
            figures << text_section(evidence_words(evidence));
        entry.set("evidence", figures);
        if (i < on_first_page) shown << entry;
        all << entry;
    }
    if (findings.empty()) {
        page.set("findings", PageData{false});
        page.set("all_findings", PageData{false});
        return;
    }
    PageData first{PageData::type::object};
    first.set("rows", shown);
    const std::size_t others = findings.size() > on_first_page ? findings.size() - on_first_page : 0;
    first.set("others", others > 0 ? text_section(std::to_string(others)) : PageData{false});
    page.set("findings", first);
    page.set("all_findings", PageData{"rows", all});
}

}  // namespace assay::cli
