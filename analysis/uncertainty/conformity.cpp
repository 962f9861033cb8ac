#include "analysis/uncertainty/conformity.h"

namespace assay::analysis {

Verdict judge(const Quantity& measured, const Tolerance& tolerance) {
    const double guard = measured.expanded_uncertainty();
    bool surely_inside = true;
    if (tolerance.at_least) {
        if (measured.value + guard < *tolerance.at_least) return Verdict::not_met;
        surely_inside = surely_inside && measured.value - guard >= *tolerance.at_least;
    }
    if (tolerance.at_most) {
        if (measured.value - guard > *tolerance.at_most) return Verdict::not_met;
        surely_inside = surely_inside && measured.value + guard <= *tolerance.at_most;
    }
    return surely_inside ? Verdict::met : Verdict::undecided;
}

}  // namespace assay::analysis
