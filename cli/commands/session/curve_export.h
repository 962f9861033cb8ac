// Curves of a session for other programs, and a fitted driver as a circuit.
#pragma once

#include <string>

#include "analysis/uncertainty/curve.h"
#include "capture/fault.h"
#include "cli/files/session/session.h"

namespace assay::cli {

enum class ExportFormat { csv, text, touchstone, spice };

/// What is meant; an empty part stands for the only one that there is.
struct ExportChoice {
    std::string test{};
    std::string load{};
    std::string curve{};
    ExportFormat format = ExportFormat::csv;
};

/// csv and text: the columns of the curve under their names. touchstone: a curve with frequency_hz,
/// magnitude_ohm and phase_deg. spice: the subcircuit of a `driver-parameters` test. Faults of kind
/// bad_arguments: nothing or more than one thing fits the choice, or it has no such form.
[[nodiscard]] capture::Result<std::string> export_text(const Session& session, const ExportChoice& choice);

}  // namespace assay::cli
