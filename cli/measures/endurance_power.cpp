#include "cli/measures/endurance_power.h"

#include <cmath>

#include "cli/measures/recording/placed_take.h"
#include "cli/measures/recording/power_level.h"
#include "cli/measures/recording/quiet_take.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

TestResult nothing_held(const Setup& setup, const Take& quiet, bool noise, TestResult result) {
    analysis::Absent why = why_only_quiet(setup, quiet);
    if (why.code == "stopped" && noise)
        why = {"power-not-reached", "the peaks of noise of that power would lie above what the bench allows",
               "turn the amplifier's gain up, take a lower crest factor, or ask for less power"};
    add_recording_conditions(setup, quiet, result);
    for (const std::size_t index : setup.test->loads) {
        Numbers numbers;
        numbers.add_absent("run_minutes", why);
        numbers.absent.emplace_back("output_fall_db", why);
        result.loads.emplace_back(setup.bench->loads[index].name, std::move(numbers));
    }
    return result;
}

void warn_of_other_start(const Setup& setup, const capture::Load& load, double frequency_hz,
                         const HeldLoad& held, Numbers& numbers) {
    const auto asked_w = setup.test->number("power_w");
    if (!asked_w) return;
    const double power_w = std::pow(held.rows.front().total_v, 2.0) * conductance_at(load, frequency_hz);
    warn_of_other_power(*asked_w, power_w, "were held at the start", numbers);
}

}  // namespace assay::cli
