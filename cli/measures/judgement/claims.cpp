#include "cli/measures/judgement/claims.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/measures/conditions.h"

namespace assay::cli {

namespace {

constexpr double basis_tolerance = 0.05;
constexpr double rounding = 1e-9;
// IEC 60268-5, the rule as a maker's dictionary gives it; that it is this standard's is from memory.
constexpr double least_of_nominal = 0.8;

/// "what the claim leaves open is by the basis mobile-14.4-v"; empty where the claim states its own.
std::string by_basis(const Claim& claim) {
    return claim.by_basis.empty() ? std::string{}
                                  : "what the claim leaves open is by the basis " + claim.by_basis;
}

/// Why the basis does not fit, or nothing.
std::string basis_fault(const Claim& claim, const Test& test, const capture::Bench& bench,
                        const TestResult& result) {
    if (claim.at_supply_volts) {
        const auto loaded = condition_of<double>(result.conditions, "supply_loaded_v");
        const auto supply = loaded ? loaded : condition_of<double>(result.conditions, "supply_idle_v");
        const double highest = claim.at_supply_volts_to.value_or(*claim.at_supply_volts);
        const std::string claimed = highest > *claim.at_supply_volts
                                        ? fmt::format("{:.4g} to {:.4g} V", *claim.at_supply_volts, highest)
                                        : fmt::format("{:.4g} V", *claim.at_supply_volts);
        if (!supply)
            return fmt::format("the claim is for a supply of {}, and no supply reading travels with the test",
                               claimed);
        const double nearest = std::clamp(*supply, *claim.at_supply_volts, highest);
        if (std::abs(*supply / nearest - 1.0) > basis_tolerance + rounding) {
            return fmt::format("measured at a supply of {:.4g} V{}, claimed at {}: more than 5 % apart",
                               *supply, loaded ? " under load" : " idle", claimed);
        }
    }
    if (claim.at_load_ohm) {
        for (const std::size_t index : test.loads) {
            const capture::Load& load = bench.loads[index];
            if (!claim.load.empty() && load.name != claim.load) continue;
            if (std::abs(load.resistance_ohm / *claim.at_load_ohm - 1.0) > basis_tolerance + rounding) {
                return fmt::format("measured into {:.4g} ohm, claimed into {:.4g} ohm: more than 5 % apart",
                                   load.resistance_ohm, *claim.at_load_ohm);
            }
        }
    }
    if (claim.channels_driven) {
        const double driven = static_cast<double>(test.loads.size());
        if (std::abs(driven / *claim.channels_driven - 1.0) > basis_tolerance) {
            return fmt::format("measured with {:g} channel{} driven, claimed with {:g}", driven,
                               driven == 1.0 ? "" : "s", *claim.channels_driven);
        }
    }
    // Harmonics alone reach a limit later than harmonics and noise: the watts would flatter.
    if (claim.limit_on == "thd+n" && claim.quantity.find("_percent_w") != std::string::npos &&
        condition_of<std::string>(result.conditions, "limit_on") == "thd") {
        return "the limit of the test is on THD, that of the basis on THD+N";
    }
    return {};
}

bool ceiling_open(const Numbers& numbers) {
    return std::any_of(numbers.warnings.begin(), numbers.warnings.end(), [](const Warning& warning) {
        return warning.code == "recorder-ceiling-not-excluded";
    });
}

/// What a claim of nominal impedance rests on: the rule, and where the curve lies below it outside of the
/// judged minimum, which the rule wants told.
std::string nominal_basis(double nominal_ohm, const Numbers& numbers) {
    std::string text = fmt::format(
        "by the rule that the impedance is nowhere below 80 % of the nominal {:g} ohm", nominal_ohm);
    for (const auto& [name, curve] : numbers.curves) {
        const auto* frequency_hz = curve.find("frequency_hz");
        const auto* magnitude_ohm = curve.find("magnitude_ohm");
        if (name != "impedance" || frequency_hz == nullptr || magnitude_ohm == nullptr) continue;
        const auto lowest = std::min_element(magnitude_ohm->begin(), magnitude_ohm->end());
        if (lowest == magnitude_ohm->end() || *lowest >= least_of_nominal * nominal_ohm) continue;
        text += fmt::format("; outside of that minimum it falls to {:.4g} ohm, at {:.4g} Hz", *lowest,
                            (*frequency_hz)[static_cast<std::size_t>(lowest - magnitude_ohm->begin())]);
    }
    return text;
}

/// A recorder's ceiling can only make a power look too small: a claim of "at least" is then not refused.
bool rests_on_open_ceiling(const Claim& claim, const TestResult& result) {
    for (const auto& [name, numbers] : result.loads) {
        if ((claim.load.empty() || claim.load == name) && ceiling_open(numbers)) return true;
    }
    return false;
}

}  // namespace

JudgedClaim judge_claim(const Claim& claim, const Job& job, const capture::Bench& bench,
                        const TestResult* result) {
    JudgedClaim judged{
        .text = claim.text, .test = claim.test, .load = claim.load, .quantity = claim.quantity};
    judged.limit.at_least = claim.at_least;
    judged.limit.at_most = claim.at_most;
    if (claim.nominal && claim.within_percent) {
        const double slack = std::abs(*claim.nominal) * *claim.within_percent / 100.0;
        judged.limit.at_least = *claim.nominal - slack;
        judged.limit.at_most = *claim.nominal + slack;
    }
    if (claim.nominal_impedance_ohm) judged.limit.at_least = least_of_nominal * *claim.nominal_impedance_ohm;
    const auto test = std::find_if(job.tests.begin(), job.tests.end(),
                                   [&](const Test& candidate) { return candidate.id == claim.test; });
    if (result == nullptr || test == job.tests.end()) {
        judged.reason = "the test was not made";
        return judged;
    }
    if (result->fault) {
        judged.reason = "the test's capture cannot be trusted: " + result->fault->text;
        return judged;
    }
    const Numbers* numbers = &result->whole;
    if (!claim.load.empty()) {
        numbers = result->load(claim.load);
    } else if (numbers->find(claim.quantity) == nullptr && numbers->find_absent(claim.quantity) == nullptr &&
               result->loads.size() == 1) {
        numbers = &result->loads.front().second;
    }
    const analysis::Quantity* measured = numbers == nullptr ? nullptr : numbers->find(claim.quantity);
    if (measured == nullptr) {
        const analysis::Absent* absent = numbers == nullptr ? nullptr : numbers->find_absent(claim.quantity);
        judged.reason =
            "no number: " +
            (absent != nullptr ? absent->text : std::string("the test does not give this quantity"));
        return judged;
    }
    judged.measured = *measured;
    if (const std::string fault = basis_fault(claim, *test, bench, *result); !fault.empty()) {
        judged.reason = fault;
        if (!claim.by_basis.empty()) judged.reason += "; " + by_basis(claim);
        return judged;
    }
    judged.verdict = analysis::judge(*measured, judged.limit);
    if (judged.verdict == analysis::Verdict::not_met && rests_on_open_ceiling(claim, *result)) {
        judged.verdict = analysis::Verdict::undecided;
        judged.reason =
            "a ceiling of the recorder is not excluded, and would make the unit look weaker than it is";
    } else if (judged.verdict == analysis::Verdict::undecided) {
        judged.reason = "the measured value lies within its uncertainty of the limit";
    }
    if (!claim.by_basis.empty()) {
        judged.reason += (judged.reason.empty() ? "" : "; ") + by_basis(claim);
    }
    if (claim.nominal_impedance_ohm) {
        judged.reason +=
            (judged.reason.empty() ? "" : "; ") + nominal_basis(*claim.nominal_impedance_ohm, *numbers);
    }
    return judged;
}

}  // namespace assay::cli
