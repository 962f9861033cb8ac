// Is a flat top the amplifier's or the recorder's? Decided on evidence only: the input's known clean range, a
// ceiling that falls as the drive rises (a supply that sags; a recorder's ceiling stands still), or two
// inputs of different attenuation that see one ceiling in volts.
#pragma once

#include <string>
#include <vector>

#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

struct CeilingVerdict {
    bool amplifier_proven = false;
    std::string words{};  // on what evidence, or why not
};

/// `loads`: the steps of each load of the test, in the order of their levels.
/// `needed_drive_dbfs`: the drive up to which the test's numbers rest on the wave's shape.
CeilingVerdict whose_ceiling(const Setup& setup, std::size_t load_position,
                             const std::vector<std::vector<LoadStep>>& loads, double needed_drive_dbfs);

/// The same for a test of rising levels, as a warning: only where the wave flattens at all.
void warn_of_ceiling(const Setup& setup, std::size_t load_position,
                     const std::vector<std::vector<LoadStep>>& loads, double needed_drive_dbfs,
                     Numbers& numbers);

}  // namespace assay::cli
