#include "cli/files/session/session_findings.h"

#include <algorithm>
#include <cctype>

#include "cli/files/plain_text.h"
#include "cli/files/session/session_describe.h"
#include "cli/report/number_words.h"

namespace assay::cli {
namespace {

constexpr std::size_t findings_indent = 13;

std::string block(const std::string& label, const std::string& text) {
    return labelled_lines(label, findings_indent, text, page_columns);
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

std::string findings_title(const Session& session) {
    const bool missed =
        std::any_of(session.claims.begin(), session.claims.end(),
                    [](const JudgedClaim& claim) { return claim.verdict == analysis::Verdict::not_met; });
    return missed ? "Why it falls short" : "What stands out";
}

std::string session_findings_text(const Session& session) {
    const std::vector<Finding> findings = session_findings(session);
    if (findings.empty()) return {};
    std::string out = "\n";
    for (const char letter : findings_title(session))
        out += static_cast<char>(std::toupper(static_cast<unsigned char>(letter)));
    out += '\n';
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
    archive.list("findings", findings, [](JsonWriter& entry, const Finding& finding) {
        entry.field("code", finding.code);
        entry.field("confidence", confidence_word(finding.confidence));
        entry.field("text", finding.text);
        entry.list("evidence", finding.evidence, [](JsonWriter& row, const Evidence& figure) {
            row.field("what", figure.what);
            row.field("value", figure.value);
            row.field("unit", figure.unit);
            row.field("test", figure.test);
            row.field("load", figure.load);
        });
        entry.field("next", finding.next);
    });
}

}  // namespace assay::cli
