// A job as text for a drawn bench: any measures with any of their fields, at, near and beyond their limits.
#pragma once

#include <string>

#include "property/drawn_bench.h"

namespace assay::drawn {

std::string job(Draw& draw, double oddness, const BenchText& bench);

/// A curve file that a job may name: "curve.csv", beside the job.
std::string curve_csv();

}  // namespace assay::drawn
