#include "cli/files/session_findings.h"

#include "cli/files/number_words.h"
#include "cli/files/plain_text.h"
#include "cli/files/session_describe.h"

namespace assay::cli {
namespace {

constexpr std::size_t page_columns = 100;
constexpr std::size_t indent = 13;

std::string block(const std::string& label, const std::string& text) {
    return labelled_lines(label, indent, text, page_columns);
}

}  // namespace

std::vector<Finding> session_findings(const Session& session) {
    if (session.unit.kind == UnitKind::driver) return {};
    std::vector<TestedResult> tests;
    tests.reserve(session.tests.size());
    for (const TestRecord& record : session.tests) tests.push_back({record.id, &record.result});
    return find_causes(session.bench, tests);
}

std::string evidence_words(const Evidence& evidence) {
    const std::string number = stated_text(to_digits(evidence.value, 3), evidence.unit);
    return visible_text(evidence.what) + ": " + number + " (" + visible_text(evidence.test, 80) +
           (evidence.load.empty() ? "" : ", " + visible_text(evidence.load, 80)) + ")";
}

std::string session_findings_text(const Session& session) {
    const std::vector<Finding> findings = session_findings(session);
    if (findings.empty()) return {};
    std::string out = "\nWHY IT FALLS SHORT\n";
    for (const Finding& finding : findings) {
        out += block("  " + confidence_word(finding.confidence), visible_text(finding.text));
        std::string figures;
        for (const Evidence& evidence : finding.evidence)
            figures += (figures.empty() ? "" : "; ") + evidence_words(evidence);
        out += block({}, figures);
        out += block({}, "next: " + visible_text(finding.next));
    }
    return out;
}

void write_findings(JsonWriter& archive, const Session& session) {
    const std::vector<Finding> findings = session_findings(session);
    if (findings.empty()) return;
    const std::string key = "findings";
    const Place list_place{&archive.place(), &key, 0};
    Json& list = archive.node()[key] = Json::array();
    for (std::size_t i = 0; i < findings.size(); ++i) {
        const Place place{&list_place, nullptr, i};
        list.push_back(nullptr);
        JsonWriter entry(list.back(), place, archive.trouble());
        entry.field("code", findings[i].code);
        entry.field("confidence", confidence_word(findings[i].confidence));
        entry.field("text", findings[i].text);
        const std::string evidence_key = "evidence";
        const Place evidence_place{&place, &evidence_key, 0};
        Json& evidence = entry.node()[evidence_key] = Json::array();
        for (std::size_t k = 0; k < findings[i].evidence.size(); ++k) {
            const Evidence& figure = findings[i].evidence[k];
            const Place figure_place{&evidence_place, nullptr, k};
            evidence.push_back(nullptr);
            JsonWriter row(evidence.back(), figure_place, archive.trouble());
            row.field("what", figure.what);
            row.field("value", figure.value);
            row.field("unit", figure.unit);
            row.field("test", figure.test);
            row.field("load", figure.load);
        }
        entry.field("next", findings[i].next);
    }
}

}  // namespace assay::cli
