// The fitted driver in a session: its parameters in full precision among the conditions of a
// `driver-parameters` test, written and read back by these two alone.
//
// Names: coil_model (text), model_re_ohm, model_fs_hz, model_qms, model_qes, model_creep_lambda,
// model_creep_law (text: "logarithmic" or "exponential"), model_loss_slope, and as the coil has them
// model_coil_l_h, model_coil_l2_h, model_coil_r2_ohm, model_coil_l3_h, model_coil_r3_ohm, model_coil_k,
// model_coil_n.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "analysis/driver/driver_model.h"
#include "cli/measures/conditions.h"

namespace assay::cli {

void add_fitted_driver(const analysis::FittedDriver& driver, Conditions& conditions);

/// Nothing when the conditions hold no whole model.
std::optional<analysis::FittedDriver> fitted_driver(const Conditions& conditions);

}  // namespace assay::cli
