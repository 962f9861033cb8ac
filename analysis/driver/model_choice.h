// Which coil, and creep or not: the models tried on the same data, and the one that an information criterion
// takes.
//
// Source: G. Schwarz, Annals of Statistics 6, 1978: BIC = k ln N - 2 ln L. Where all models leave residuals
// that hang together, N and ln L count independent points only, so that dense points of a too simple model do
// not claim too much.
#pragma once

#include <string>
#include <vector>

#include "analysis/driver/fit.h"
#include "analysis/driver/fit_start.h"

namespace assay::analysis {

struct TriedModel {
    Fit fit{};
    double criterion = 0.0;  // the least is the best
};

struct ModelChoice {
    std::size_t screened = 0;  // models that could be fitted to some of the points; the best went on to all
    std::vector<TriedModel> tried{};  // those that a driver can be, by rising criterion
    /// As many of the first as the data do not tell apart from the best: within 10 of its criterion.
    std::size_t within_reach = 0;

    const Fit& best() const { return tried.front().fit; }
};

std::string suspension_name(SuspensionKind kind);  // "logarithmic creep"
std::string model_name(const FitModel& model);     // "power-law coil, logarithmic creep"

/// Every coil with a plain spring and with logarithmic creep. The other suspensions follow from
/// there.
std::vector<FitModel> first_models();

/// Empty when no model is possible.
ModelChoice choose_model(const FitInputs& inputs, const StartReading& reading);

}  // namespace assay::analysis
