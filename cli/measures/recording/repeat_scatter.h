// Repeats of one reading scatter at least as much as the noise that is in them, which is counted already.
#pragma once

#include <cstddef>

namespace assay::cli {

/// What repeats tell beyond noise: standard uncertainty of their mean by their scatter, with that by noise
/// taken off in power; nothing where noise alone scatters so much in one of twenty cases (chi-squared, by E.
/// B. Wilson, M. M. Hilferty, Proc. Natl. Acad. Sci. 17, 1931). The whole scatter where no noise is known.
double beyond_noise(double scatter, double noise, std::size_t repeats);

}  // namespace assay::cli
