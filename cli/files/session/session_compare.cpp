#include "cli/files/session/session_compare.h"

#include <algorithm>
#include <cmath>

#include "cli/files/plain_text.h"
#include "cli/files/session/session_describe.h"
#include "cli/files/session/session_file.h"

namespace assay::cli {
namespace {

constexpr double same_digits = 1e-9;

std::string value_words(const Json& value) {
    if (value.is_object()) return "a table";
    if (value.is_array()) return "a list of " + std::to_string(value.size());
    return visible_text(value.dump(-1, ' ', false, Json::error_handler_t::replace), 160);
}

bool close(double a, double b) {
    return std::abs(a - b) <= same_digits * std::max(std::abs(a), std::abs(b));
}

class Walk {
  public:
    std::vector<SessionDifference> found{};

    void compare(const std::string& where, const std::string& key, const Json& before, const Json& after) {
        if (before.is_number() && after.is_number()) {
            number(where, key, before.get<double>(), after.get<double>());
        } else if (before.is_object() && after.is_object()) {
            object(where, before, after);
        } else if (before.is_array() && after.is_array() && before.size() == after.size()) {
            list(where, key, before, after);
        } else if (before != after) {
            add(where, key, value_words(before), value_words(after), false);
        }
    }

  private:
    /// Texts, spreads and shares may change from version to version; values are judged by their quantity.
    static bool free_in_other_version(const std::string& where, const std::string& key) {
        const bool of_result = where.starts_with("tests.") && where.find(".takes") == std::string::npos;
        const bool verdict = key == "verdict" || key == "at_least" || key == "at_most";
        const bool of_table = where.starts_with("power_table") || where.starts_with("rating");
        const bool of_finding = where.starts_with("findings");
        return (of_result || of_table || of_finding || where.starts_with("claims")) && !verdict;
    }

    void add(const std::string& where, const std::string& key, std::string before, std::string after,
             bool rounding) {
        found.push_back(
            {where, std::move(before), std::move(after), rounding, free_in_other_version(where, key)});
    }

    void number(const std::string& where, const std::string& key, double before, double after) {
        if (before == after) return;
        add(where, key, Json(before).dump(), Json(after).dump(), close(before, after));
    }

    void object(const std::string& where, const Json& before, const Json& after) {
        const std::string start = where.empty() ? "" : where + ".";
        for (auto entry = before.begin(); entry != before.end(); ++entry) {
            const auto other = after.find(entry.key());
            const std::string place = start + visible_text(entry.key(), 80);
            if (other == after.end()) {
                add(place, entry.key(), value_words(*entry), "nothing", false);
            } else {
                compare(place, entry.key(), *entry, *other);
            }
        }
        for (auto entry = after.begin(); entry != after.end(); ++entry) {
            if (before.find(entry.key()) == before.end()) {
                add(start + visible_text(entry.key(), 80), entry.key(), "nothing", value_words(*entry),
                    false);
            }
        }
    }

    void list(const std::string& where, const std::string& key, const Json& before, const Json& after) {
        const bool numbers =
            std::all_of(before.begin(), before.end(), [](const Json& v) { return v.is_number(); });
        std::size_t worst = before.size();
        double worst_part = -1.0;
        for (std::size_t i = 0; i < before.size(); ++i) {
            if (!numbers || !after[i].is_number()) {
                compare(where + "[" + std::to_string(i) + "]", key, before[i], after[i]);
                continue;
            }
            const double a = before[i].get<double>();
            const double b = after[i].get<double>();
            const double part = a == b ? -1.0 : std::abs(a - b) / std::max(std::abs(a), std::abs(b));
            if (part > worst_part) {
                worst = i;
                worst_part = part;
            }
        }
        if (worst < before.size()) {
            number(where + "[" + std::to_string(worst) + "]", key, before[worst].get<double>(),
                   after[worst].get<double>());
        }
    }
};

}  // namespace

std::vector<SessionDifference> compare_sessions(const std::string& written, const Session& again) {
    Walk walk;
    try {
        walk.compare("", "", Json::parse(written), Json::parse(session_text(again)));
    } catch (const Json::exception&) {
        walk.found.push_back({"session.json", "a damaged file", "a session"});
    }
    return walk.found;
}

bool QuantityPair::equal() const {
    return before && after && before->value == after->value && before->unit == after->unit &&
           before->contributions == after->contributions;
}

bool QuantityPair::within_uncertainty() const {
    return before && after && before->unit == after->unit &&
           std::abs(before->value - after->value) <= before->expanded_uncertainty();
}

std::vector<QuantityPair> pair_quantities(const Session& before, const Session& after) {
    std::vector<QuantityPair> pairs;
    const auto pair = [&](const std::string& test, const std::string& load, const Numbers* old_ones,
                          const Numbers* new_ones) {
        if (old_ones != nullptr) {
            for (const auto& [name, quantity] : old_ones->quantities) {
                const auto* other = new_ones != nullptr ? new_ones->find(name) : nullptr;
                pairs.push_back({test, load, name, quantity, {}});
                if (other != nullptr) pairs.back().after = *other;
            }
        }
        if (new_ones == nullptr) return;
        for (const auto& [name, quantity] : new_ones->quantities) {
            if (old_ones != nullptr && old_ones->find(name) != nullptr) continue;
            pairs.push_back({test, load, name, {}, quantity});
        }
    };
    for (const TestRecord& record : before.tests) {
        const TestRecord* other = after.find(record.id);
        for (const auto& [load, numbers] : record.result.loads) {
            pair(record.id, load, &numbers, other != nullptr ? other->result.load(load) : nullptr);
        }
        pair(record.id, {}, &record.result.whole, other != nullptr ? &other->result.whole : nullptr);
    }
    for (const TestRecord& record : after.tests) {
        const TestRecord* other = before.find(record.id);
        for (const auto& [load, numbers] : record.result.loads) {
            if (other == nullptr || other->result.load(load) == nullptr)
                pair(record.id, load, nullptr, &numbers);
        }
        if (other == nullptr) pair(record.id, {}, nullptr, &record.result.whole);
    }
    return pairs;
}

}  // namespace assay::cli
