// What the noise of a load becomes: numbers less the bench's own noise, and remarks.
#pragma once

#include <string>

#include "analysis/amplifier/noise.h"
#include "cli/measures/measure.h"

namespace assay::cli {

struct NoiseContext {
    const Setup* setup = nullptr;
    const capture::Load* load = nullptr;
    const analysis::NoiseReading* own = nullptr;
    const analysis::NoiseReading* floor = nullptr;  // none: not measured
    std::string source{};                           // "test:<id>:<load>:", and that of the floor's test
    std::string floor_source{};
};

Numbers noise_numbers(const NoiseContext& context);

}  // namespace assay::cli
