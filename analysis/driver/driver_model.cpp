#include "analysis/driver/driver_model.h"

namespace assay::analysis {

std::complex<double> impedance_at(const FittedDriver& driver, const Loading& loading, double frequency_hz) {
    return driver.re_ohm + coil_impedance(driver.coil, frequency_hz) +
           driver.re_ohm / driver.cone.qes / mechanical_impedance(driver.cone, loading, frequency_hz);
}

std::complex<double> impedance_at(const FittedDriver& driver, double frequency_hz) {
    return impedance_at(driver, Loading{}, frequency_hz);
}

}  // namespace assay::analysis
