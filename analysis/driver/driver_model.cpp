#include "analysis/driver/driver_model.h"

namespace assay::analysis {

std::complex<double> impedance_at(const FittedDriver& driver, const Loading& loading, double frequency_hz) {
    const std::complex<double> mechanical = mechanical_impedance(driver.cone, loading, frequency_hz);
    // Not by the general division, whose care for infinities costs as much as all the rest.
    const std::complex<double> motional =
        driver.re_ohm / driver.cone.qes / std::norm(mechanical) * std::conj(mechanical);
    return driver.re_ohm + coil_impedance(driver.coil, frequency_hz) + motional;
}

std::complex<double> impedance_at(const FittedDriver& driver, double frequency_hz) {
    return impedance_at(driver, Loading{}, frequency_hz);
}

}  // namespace assay::analysis
