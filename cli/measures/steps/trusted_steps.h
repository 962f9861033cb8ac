// The steps of one load that numbers may rest on, and what is told of the others.
#pragma once

#include <string>
#include <vector>

#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

struct TrustedSteps {
    std::vector<analysis::StepReading> readings{};
    std::vector<double> plus_shares{};
    std::vector<std::size_t> positions{};      // of each reading among all steps
    std::vector<std::string> step_troubles{};  // of every step, empty where sound
    std::vector<std::string> troubles{};       // one line each cause, for warnings
    bool overloaded = false;
    bool vanished_above = false;  // the tone went away and did not come back

    /// Trouble of a step that was left out between two neighbours among the readings; empty if there is none.
    std::string trouble_between(std::size_t below, std::size_t above) const;
    /// Trouble that keeps higher steps out, so that a limit may lie there; empty if the readings go to the
    /// top. A tone that vanished (protection) is the unit's own doing and no reason to distrust the capture.
    std::string trouble_above() const;
    /// "input-overload", "tone-vanished" (the unit cut out and stayed so) or "steps-lost".
    std::string trouble_code() const;
};

TrustedSteps trusted_steps(const std::vector<LoadStep>& steps);

/// No capture at all.
capture::Fault nothing_recorded();
/// A load of which something that a requested number rests on cannot be trusted: `trouble` says what.
capture::Fault untrusted_load(const Take& take, const capture::Load& load, const TrustedSteps& steps,
                              const std::string& trouble);

}  // namespace assay::cli
