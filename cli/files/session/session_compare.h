// Two descriptions of the same session, the one that was written and the one computed again: every value of
// session.json against its counterpart.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/uncertainty/quantity.h"
#include "cli/files/session/session.h"

namespace assay::cli {

struct SessionDifference {
    std::string where{};  // "tests.power-4-ohm.loads.load-a.quantities.power_at_1_percent_w.value"
    std::string before{};
    std::string after{};
    /// Numbers that agree to nine digits: the arithmetic of another kind of processor.
    bool rounding = false;
    /// Follows from the uncertainty, or is a text: another version may say it otherwise.
    bool harmless_in_other_version = false;
};

/// `written` is the text of session.json as it stands on disk, so that what the reader passes over is
/// compared too; `again` is compared in its canonical form. Lists of numbers are told once, by their worst
/// pair.
std::vector<SessionDifference> compare_sessions(const std::string& written, const Session& again);

/// A quantity of the session with its counterpart.
struct QuantityPair {
    std::string test{};
    std::string load{};  // empty: of the whole test
    std::string name{};
    std::optional<analysis::Quantity> before{};
    std::optional<analysis::Quantity> after{};

    bool equal() const;
    /// The two agree within the uncertainty that was stated.
    bool within_uncertainty() const;
};
std::vector<QuantityPair> pair_quantities(const Session& before, const Session& after);

}  // namespace assay::cli
