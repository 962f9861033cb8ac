#include "cli/report/separation_pairs.h"

#include "cli/files/plain_text.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"

namespace assay::cli {
namespace {

constexpr const char* quantity_name = "separation_1khz_db";

bool is_separation(const TestRecord& record) {
    return record.result.measure == "separation" && !record.result.fault;
}

std::string way_text(const TestRecord& record) {
    std::string text = visible_text(text_condition(record.result, "driven", ""), 60) + " into " +
                       visible_text(text_condition(record.result, "idle", ""), 60) + ' ';
    if (const auto* quantity = record.result.whole.find(quantity_name)) return text + value_text(*quantity);
    return text + "no number";
}

}  // namespace

const TestRecord* other_way(const Session& session, const TestRecord& record) {
    if (!is_separation(record)) return nullptr;
    for (const TestRecord& other : session.tests) {
        if (&other == &record || !is_separation(other)) continue;
        if (text_condition(other.result, "driven", "") == text_condition(record.result, "idle", "-") &&
            text_condition(other.result, "idle", "") == text_condition(record.result, "driven", "-"))
            return &other;
    }
    return nullptr;
}

bool is_way_back(const Session& session, const TestRecord& record) {
    const TestRecord* other = other_way(session, record);
    return other != nullptr && other < &record;
}

std::string both_ways_text(const Session& session, const TestRecord& record) {
    if (!is_separation(record)) return {};
    const TestRecord* other = other_way(session, record);
    if (other == nullptr)
        return "only one way was measured; a test with driven and idle swapped is the other";
    if (!is_way_back(session, record)) return {};
    std::string text = way_text(*other) + ", " + way_text(record);
    const auto* one = other->result.whole.find(quantity_name);
    const auto* two = record.result.whole.find(quantity_name);
    if (one != nullptr && two != nullptr)
        text += "; the lesser counts: " + value_text(one->value < two->value ? *one : *two);
    return text;
}

}  // namespace assay::cli
