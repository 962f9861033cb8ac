#include "cli/commands/session/verify_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "cli/files/plain_text.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"

namespace assay::cli {
namespace {

using Json = nlohmann::ordered_json;

std::string difference_text(const SessionDifference& difference) {
    return fmt::format("session.json: {} is {}, computed again {}", difference.where, difference.before,
                       difference.after);
}

std::string value_or_nothing(const std::optional<analysis::Quantity>& quantity) {
    return quantity ? value_text(*quantity) : std::string("no number");
}

std::string state_of(const QuantityPair& pair) {
    if (pair.equal()) return "equal";
    if (pair.within_uncertainty()) return "within its uncertainty";
    return "DIFFERENT";
}

std::string where_of(const QuantityPair& pair) {
    return visible_text(pair.test, 80) + (pair.load.empty() ? "" : ", " + visible_text(pair.load, 60));
}

bool only_rounding(const Verification& found) {
    return std::all_of(found.differences.begin(), found.differences.end(),
                       [](const SessionDifference& difference) { return difference.rounding; });
}

std::string key_line(const Verification& found) {
    if (!found.is_signed) {
        return "signature    none: who made the session cannot be told, and whoever sent it could have "
               "changed it whole\n";
    }
    return "signature    key " + found.key +
           (found.own_key
                ? " (your own)\n"
                : "\n             whose key this is, only the signer can tell: compare the fingerprint by "
                  "telephone or in person\n");
}

std::string numbers_table(const Verification& found) {
    std::size_t first = 0;
    std::size_t second = 0;
    std::size_t third = 0;
    std::string last;
    for (const QuantityPair& pair : found.pairs) {
        first = std::max(first, columns_of(quantity_words(pair.name)));
        second = std::max(second, columns_of(value_or_nothing(pair.before)));
        third = std::max(third, columns_of(value_or_nothing(pair.after)));
    }
    std::string text;
    for (const QuantityPair& pair : found.pairs) {
        if (const std::string where = where_of(pair); where != last) {
            text += where + "\n";
            last = where;
        }
        text += "  " + padded(quantity_words(pair.name), first) + "  " +
                padded(value_or_nothing(pair.before), second) + "  " +
                padded(value_or_nothing(pair.after), third) + "  " + state_of(pair) + "\n";
    }
    return text;
}

}  // namespace

void judge_differences(Verification& found) {
    const bool same_version = found.program_version == ASSAY_VERSION;
    if (!same_version) {
        found.remarks.push_back("made by assay " + visible_text(found.program_version, 40) +
                                ", verified by assay " ASSAY_VERSION);
    } else if (!found.differences.empty() && only_rounding(found)) {
        found.remarks.emplace_back("numbers differ in the last digits only, as on another kind of processor");
    }
    if (!same_version) {
        for (const QuantityPair& pair : found.pairs) {
            if (pair.equal()) continue;
            const std::string words = where_of(pair) + ": " + quantity_words(pair.name) + ": " +
                                      value_or_nothing(pair.before) + ", computed again " +
                                      value_or_nothing(pair.after);
            if (pair.within_uncertainty()) {
                found.remarks.push_back(words + " (within its uncertainty)");
            } else {
                found.fail(words);
            }
        }
    }
    for (const SessionDifference& difference : found.differences) {
        if (difference.rounding || (!same_version && difference.harmless_in_other_version)) continue;
        found.fail(difference_text(difference));
    }
}

std::string verification_text(const Verification& found) {
    std::string text = fmt::format("certificate  {}{}\n", visible_text(found.number, 60),
                                   found.simulated ? " (SIMULATED BENCH: shows no real unit)" : "");
    text += "fingerprint  " + (found.fingerprint.empty() ? "none" : found.fingerprint) +
            "  (must stand on the certificate)\n";
    text += key_line(found);
    text += fmt::format("files        {} in the session{}\n", found.files,
                        found.is_signed ? fmt::format(", {} pages and plots", found.pages)
                                        : ", its pages are not covered without a signature");
    if (found.computed) {
        const auto equal = std::count_if(found.pairs.begin(), found.pairs.end(),
                                         [](const QuantityPair& pair) { return pair.equal(); });
        text +=
            fmt::format("numbers      {} computed again from the recordings, {} equal to the last bit\n\n",
                        found.pairs.size(), equal);
        text += numbers_table(found) + "\n";
    }
    for (const std::string& remark : found.remarks) text += "note: " + visible_text(remark) + "\n";
    for (const std::string& failure : found.failures) text += "WRONG: " + visible_text(failure) + "\n";
    text += found.failures.empty()
                ? (found.is_signed
                       ? "verified: nothing was changed since it was signed, and the numbers follow from "
                         "the recordings\n"
                       : "verified, as far as an unsigned session can be: it agrees with itself, and the "
                         "numbers follow from the recordings\n")
                : "NOT VERIFIED\n";
    return text;
}

std::string verification_json(const Verification& found) {
    Json json;
    json["verified"] = found.failures.empty();
    json["number"] = visible_text(found.number, 200);
    json["simulated"] = found.simulated;
    json["fingerprint"] = found.fingerprint;
    json["signed"] = found.is_signed;
    json["key"] = found.key;
    json["own_key"] = found.own_key;
    json["program_version"] = visible_text(found.program_version, 60);
    json["files"] = found.files;
    json["pages"] = found.pages;
    json["numbers_computed_again"] = found.computed;
    json["bit_identical"] = found.computed && found.differences.empty();
    Json numbers = Json::array();
    for (const QuantityPair& pair : found.pairs) {
        Json entry;
        entry["test"] = pair.test;
        entry["load"] = pair.load;
        entry["quantity"] = pair.name;
        entry["before"] = pair.before ? Json(pair.before->value) : Json(nullptr);
        entry["after"] = pair.after ? Json(pair.after->value) : Json(nullptr);
        entry["unit"] = pair.before ? pair.before->unit : pair.after->unit;
        entry["expanded_uncertainty"] =
            pair.before ? Json(pair.before->expanded_uncertainty()) : Json(nullptr);
        entry["state"] = pair.equal()                ? "equal"
                         : pair.within_uncertainty() ? "within uncertainty"
                                                     : "different";
        numbers.push_back(std::move(entry));
    }
    json["numbers"] = std::move(numbers);
    Json differences = Json::array();
    for (const SessionDifference& difference : found.differences) {
        differences.push_back({{"where", difference.where},
                               {"before", difference.before},
                               {"after", difference.after},
                               {"rounding", difference.rounding}});
    }
    json["differences"] = std::move(differences);
    const auto texts = [](const std::vector<std::string>& lines) {
        Json list = Json::array();
        for (const std::string& line : lines) list.push_back(visible_text(line));
        return list;
    };
    json["failures"] = texts(found.failures);
    json["remarks"] = texts(found.remarks);
    return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace assay::cli
