#include "cli/report/show.h"

#include <algorithm>
#include <string_view>
#include <utility>
#include <vector>

#include "cli/files/plain_text.h"
#include "cli/files/session/session_findings.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/power_text.h"
#include "cli/report/quantity_words.h"
#include "cli/report/separation_pairs.h"
#include "cli/report/source_words.h"

namespace assay::cli {
namespace {

constexpr std::size_t words_columns = 38;
constexpr std::size_t value_columns = 23;
constexpr std::size_t verdict_columns = 11;

std::string block(const std::string& label, std::size_t indent, std::string_view text) {
    return labelled_lines(label, indent, text, page_columns);
}

/// A list of fields side by side, each wrapped in its own column.
std::string row(const std::string& words, const std::string& value, const std::string& limits) {
    constexpr std::size_t margin = 4;
    const auto first = wrap(words, words_columns - 1);
    const auto second = wrap(value, value_columns - 1);
    const auto third = wrap(limits, page_columns - margin - words_columns - value_columns);
    std::string out;
    for (std::size_t i = 0; i < std::max({first.size(), second.size(), third.size()}); ++i) {
        std::string line(margin, ' ');
        line += padded(i < first.size() ? first[i] : "", words_columns);
        line += padded(i < second.size() ? second[i] : "", value_columns);
        line += i < third.size() ? third[i] : "";
        line.resize(line.find_last_not_of(' ') + 1);
        out += line + '\n';
    }
    return out;
}

std::string warnings_text(const std::vector<Warning>& warnings) {
    std::string out;
    for (const Warning& warning : warnings) {
        std::string text = visible_text(warning.text);
        if (!warning.advice.empty()) text += "; " + visible_text(warning.advice);
        out += block("    ! ", 6, text);
    }
    return out;
}

/// Absent quantities stand in the table; their warnings would only repeat them.
std::vector<Warning> other_warnings(const Numbers& numbers) {
    std::vector<Warning> others;
    for (const Warning& warning : numbers.warnings) {
        bool told = false;
        for (const auto& [name, why] : numbers.absent) {
            told = told || (warning.code == why.code && warning.text == name + ": " + why.text);
        }
        if (!told) others.push_back(warning);
    }
    return others;
}

std::string numbers_text(const Session& session, const TestRecord& record, const std::string& load,
                         const Numbers& numbers) {
    const std::string limit_on = text_condition(record.result, "limit_on", "thd");
    std::string out;
    for (const auto& [name, quantity] : numbers.quantities) {
        if (is_repeated_total(record.result, name)) continue;
        out +=
            row(quantity_words(name, limit_on), value_text(quantity), what_limits(quantity, session.bench));
        if (is_power(quantity)) out += block("      at ", 9, basis_text(session, record, load, name));
    }
    // A reason that several figures share is told once.
    std::vector<std::pair<std::string, std::string>> told;
    for (const auto& [name, why] : numbers.absent) {
        if (is_repeated_total(record.result, name)) continue;
        std::string reason = visible_text(why.text);
        if (!why.advice.empty()) reason += "; " + visible_text(why.advice);
        const auto same = std::find_if(told.begin(), told.end(),
                                       [&reason](const auto& earlier) { return earlier.second == reason; });
        const std::string words = quantity_words(name, limit_on);
        if (same != told.end()) {
            out += row(words, "no number", "as for " + same->first);
            continue;
        }
        out += row(words, "no number", reason);
        told.emplace_back(words, reason);
    }
    return out + warnings_text(other_warnings(numbers));
}

std::string conditions_text(const TestResult& result) {
    std::string text;
    for (const auto& [name, value] : result.conditions) {
        if (for_programs_only(name)) continue;
        const ConditionWords shown = condition_words(name, value);
        text += (text.empty() ? "" : "; ") + shown.words + ' ' + shown.value;
    }
    return text.empty() ? std::string{} : block("  Conditions: ", 14, text);
}

std::string test_text(const Session& session, const TestRecord& record) {
    const TestResult& result = record.result;
    std::string out = "\nTEST " + visible_text(record.id, 80) + "  (" +
                      measure_words(result.measure, session.unit.kind) + ")\n";
    out += conditions_text(result);
    if (result.fault) {
        std::string text = visible_text(result.fault->text);
        if (result.fault->at_s) text += " (at " + stated_text(*result.fault->at_s, "s") + ")";
        if (!result.fault->mend.empty()) text += "; " + visible_text(result.fault->mend);
        out += block("  NO RESULT: ", 13, text);
    }
    for (const auto& [name, numbers] : result.loads) {
        const capture::Load* load = find_load(session.bench, name);
        out += "  " + visible_text(name, 60);
        if (load != nullptr && !load->bare_input)
            out += "  (" + stated_text(load->resistance_ohm, "ohm") + ")";
        out += '\n' + numbers_text(session, record, name, numbers);
    }
    const std::string whole = numbers_text(session, record, {}, result.whole);
    if (!whole.empty()) out += "  Whole test\n" + whole;
    if (const std::string both = both_ways_text(session, record); !both.empty())
        out += block("  Both ways: ", 13, both);
    return out;
}

std::string claim_text(const Session& session, const JudgedClaim& claim) {
    using analysis::Verdict;
    const std::string verdict = claim.verdict == Verdict::met       ? "MET"
                                : claim.verdict == Verdict::not_met ? "NOT MET"
                                                                    : "UNDECIDED";
    std::string out = block("  " + verdict, 2 + verdict_columns, visible_text(claim.text));
    const std::size_t indent = 2 + verdict_columns;
    const TestRecord* record = session.find(claim.test);
    const std::string where =
        visible_text(claim.load.empty() ? claim.test : claim.test + ", " + claim.load, 120);
    if (claim.measured) {
        out += block({}, indent,
                     "measured " + value_text(*claim.measured) + "; claimed " +
                         limit_text(claim.limit, claim.measured->unit) + "  (" + where + ")");
        if (record != nullptr && is_power(*claim.measured)) {
            out += block({}, indent, "at " + basis_text(session, *record, claim.load, claim.quantity));
        }
    } else {
        out += block({}, indent, "not measured  (" + where + ")");
    }
    if (!claim.reason.empty()) out += block({}, indent, visible_text(claim.reason));
    return out;
}

}  // namespace

std::string unit_text(const Unit& unit) {
    std::string text = visible_text(unit.maker, 80);
    if (!unit.maker.empty() && !unit.model.empty()) text += ' ';
    text += visible_text(unit.model, 80);
    if (text.empty()) text = "maker and model not stated";
    if (!unit.serial.empty()) text += ", serial " + visible_text(unit.serial, 80);
    if (!unit.condition.empty()) text += "; " + visible_text(unit.condition, 200);
    return text;
}

std::string show_text(const Session& session) {
    std::string out = block("Unit        ", 12, unit_text(session.unit));
    out += block("Certificate ", 12,
                 visible_text(session.number, 80) + ", " + visible_text(session.created, 40) + ", assay " +
                     visible_text(session.program_version, 20));
    if (session.simulated) out += "\nSIMULATED BENCH: these numbers show no real unit.\n";
    if (!session.claims.empty()) out += "\nCLAIMS\n";
    for (const JudgedClaim& claim : session.claims) out += claim_text(session, claim);
    out += rating_text(session);
    out += power_table_text(session);
    out += session_findings_text(session);
    for (const TestRecord& record : session.tests) out += test_text(session, record);
    out += "\n± is the expanded uncertainty (k = 2, about 95 %).\n";
    return out;
}

}  // namespace assay::cli
