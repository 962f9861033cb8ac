// What is said of a step that is uneven in itself, and what mends it.
#pragma once

#include <string>

#include "analysis/amplifier/disturbance.h"

namespace assay::cli {

/// "dropout or repeated block at 3.56 s: the tone jumps", or that the level does. `from_s`: where the record
/// began.
std::string jump_words(const analysis::Disturbance& jump, double from_s);

/// The mend of a fault whose words are those of a step's trouble.
std::string mend_of_trouble(const std::string& words, bool overload);

}  // namespace assay::cli
