// What has to be put into the impedance jig for a test, and who is asked to do it: the driver in free air,
// with a mass or on a box, a known resistor, or both inputs on one node. A tone played into the arrangement
// of the test before gives a curve that looks right and is not.
#pragma once

#include <string>

#include "capture/fault.h"
#include "cli/commands/terminal/questions.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// In words, on one line; the same words mean the same arrangement.
std::string in_the_jig(const Test& test);

/// The arrangement of the job's first test in the jig, which whoever starts the run has made; empty without
/// one.
std::string first_in_the_jig(const Job& job);

/// Asks for what the test needs, under the key `<test-id>-connected`.
[[nodiscard]] capture::Result<void> ask_arrangement(Questions& questions, const Test& test);

/// A fault (kind bad_arguments) where the arrangement changes within the job and nobody could answer.
[[nodiscard]] capture::Result<void> check_somebody_moves_jig(const Questions& questions, const Job& job);

}  // namespace assay::cli
