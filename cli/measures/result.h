// What a test gives: quantities, curves, conditions and warnings, per load and for the whole test.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "analysis/uncertainty/conformity.h"
#include "analysis/uncertainty/curve.h"
#include "analysis/uncertainty/quantity.h"
#include "capture/fault.h"

namespace assay::cli {

struct Warning {
    std::string code{};    // "input-overload"; stable, for programs
    std::string text{};    // one sentence, for a person
    std::string advice{};  // what to do about it
};

/// What a test gives for one load, or as a whole. Quantities in the order in which a person reads them; an
/// absent one is not among the quantities; it stands in `absent` and, by `add_absent`, as a warning.
struct Numbers {
    std::vector<std::pair<std::string, analysis::Quantity>> quantities{};
    std::vector<std::pair<std::string, analysis::Absent>> absent{};
    std::vector<std::pair<std::string, analysis::Curve>> curves{};
    std::vector<Warning> warnings{};

    void add(std::string name, analysis::Quantity quantity) {
        quantities.emplace_back(std::move(name), std::move(quantity));
    }
    void add_absent(const std::string& name, const analysis::Absent& why) {
        absent.emplace_back(name, why);
        warnings.push_back({why.code, name + ": " + why.text, why.advice});
    }
    void warn(std::string code, std::string text, std::string advice) {
        warnings.push_back({std::move(code), std::move(text), std::move(advice)});
    }
    const analysis::Quantity* find(const std::string& name) const {
        for (const auto& [key, quantity] : quantities) {
            if (key == name) return &quantity;
        }
        return nullptr;
    }
    const analysis::Absent* find_absent(const std::string& name) const {
        for (const auto& [key, why] : absent) {
            if (key == name) return &why;
        }
        return nullptr;
    }
};

using Condition = std::variant<double, std::string>;

struct TestResult {
    std::string measure{};
    std::vector<std::pair<std::string, Numbers>> loads{};  // by load name, in the order of the job
    Numbers whole{};                                       // totals, and warnings of the whole test
    std::vector<std::pair<std::string, Condition>> conditions{};
    /// Set when the capture cannot be trusted: the test has no numbers then (exit 3).
    std::optional<capture::Fault> fault{};

    const Numbers* load(const std::string& name) const {
        for (const auto& [key, numbers] : loads) {
            if (key == name) return &numbers;
        }
        return nullptr;
    }
    /// Not even those of the loads that were read before a fault showed.
    void drop_numbers() {
        loads.clear();
        whole.quantities.clear();
        whole.curves.clear();
    }
};

struct JudgedClaim {
    std::string text{};
    std::string test{};
    std::string load{};
    std::string quantity{};
    analysis::Verdict verdict = analysis::Verdict::undecided;
    std::optional<analysis::Quantity> measured{};
    analysis::Tolerance limit{};
    std::string reason{};  // why it is undecided, or on what the verdict rests
};

}  // namespace assay::cli
