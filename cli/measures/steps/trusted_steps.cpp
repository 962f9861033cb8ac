#include "cli/measures/steps/trusted_steps.h"

#include <fmt/format.h>

#include "cli/measures/recording/placed_take.h"

namespace assay::cli {

std::string TrustedSteps::trouble_between(std::size_t below, std::size_t above) const {
    for (std::size_t step = positions[below] + 1; step < positions[above]; ++step) {
        if (!step_troubles[step].empty()) return step_troubles[step];
    }
    return {};
}

std::string TrustedSteps::trouble_above() const {
    const std::size_t from = positions.empty() ? 0 : positions.back() + 1;
    for (std::size_t step = from; step < step_troubles.size(); ++step) {
        if (!step_troubles[step].empty() && !vanished_above) return step_troubles[step];
    }
    return {};
}

std::string TrustedSteps::trouble_code() const {
    if (overloaded) return "input-overload";
    return vanished_above ? "tone-vanished" : "steps-lost";
}

TrustedSteps trusted_steps(const std::vector<LoadStep>& steps) {
    TrustedSteps result;
    StepState last = StepState::sound;
    std::size_t lost = 0;
    for (std::size_t s = 0; s < steps.size(); ++s) {
        const LoadStep& step = steps[s];
        result.step_troubles.push_back(step.trouble);
        if (step.state == StepState::sound) {
            result.readings.push_back(step.reading);
            result.plus_shares.push_back(step.plus_share);
            result.positions.push_back(s);
            result.vanished_above = false;
        } else {
            ++lost;
            if (step.state != last) result.troubles.push_back(step.trouble);
            result.overloaded = result.overloaded || step.state == StepState::overload;
            if (step.state == StepState::vanished) result.vanished_above = true;
        }
        last = step.state;
    }
    if (lost > 0)
        result.troubles.front() += fmt::format(" ({} of {} steps left out in all)", lost, steps.size());
    return result;
}

capture::Fault nothing_recorded() {
    return {capture::FaultKind::untrusted_capture, "nothing was recorded", std::nullopt,
            "record the test's tone"};
}

capture::Fault untrusted_load(const Take& take, const capture::Load& load, const TrustedSteps& steps,
                              const std::string& trouble) {
    return fault_of(take, load, {trouble, steps.overloaded});
}

}  // namespace assay::cli
