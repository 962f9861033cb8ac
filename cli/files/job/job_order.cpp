#include "cli/files/job/job_order.h"

#include <algorithm>
#include <array>
#include <set>
#include <string>
#include <utility>

namespace assay::cli {

namespace {

constexpr std::array names_one{"loaded", "unloaded", "continuous", "floor", "match"};
constexpr std::array names_some{"free_air", "with_mass", "in_box"};

std::vector<std::string> named_by(const Test& test) {
    std::vector<std::string> named;
    for (const char* field : names_one) {
        if (const auto id = test.text(field)) named.push_back(*id);
    }
    for (const char* field : names_some) {
        for (const std::string& id : test.names(field)) named.push_back(id);
    }
    return named;
}

}  // namespace

void put_after_those_named(std::vector<Test>& tests) {
    std::set<std::string> waiting;
    for (const Test& test : tests) waiting.insert(test.id);
    std::vector<Test> ordered;
    while (!tests.empty()) {
        auto next = std::find_if(tests.begin(), tests.end(), [&](const Test& test) {
            const auto named = named_by(test);
            return std::none_of(named.begin(), named.end(),
                                [&](const std::string& id) { return id != test.id && waiting.contains(id); });
        });
        if (next == tests.end()) next = tests.begin();  // two that name each other: the measure says so
        waiting.erase(next->id);
        ordered.push_back(std::move(*next));
        tests.erase(next);
    }
    tests = std::move(ordered);
}

}  // namespace assay::cli
