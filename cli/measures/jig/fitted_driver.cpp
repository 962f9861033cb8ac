#include "cli/measures/jig/fitted_driver.h"

#include <array>
#include <cmath>

namespace assay::cli {

namespace {

struct CoilMember {
    const char* name;
    double analysis::Coil::*member;
};

constexpr std::array<CoilMember, 7> coil_members{{
    {"model_coil_l_h", &analysis::Coil::l_h},
    {"model_coil_l2_h", &analysis::Coil::l2_h},
    {"model_coil_r2_ohm", &analysis::Coil::r2_ohm},
    {"model_coil_l3_h", &analysis::Coil::l3_h},
    {"model_coil_r3_ohm", &analysis::Coil::r3_ohm},
    {"model_coil_k", &analysis::Coil::k},
    {"model_coil_n", &analysis::Coil::n},
}};

}  // namespace

void add_fitted_driver(const analysis::FittedDriver& driver, Conditions& conditions) {
    conditions.emplace_back("coil_model", analysis::coil_name(driver.coil.kind));
    conditions.emplace_back("model_re_ohm", driver.re_ohm);
    conditions.emplace_back("model_fs_hz", driver.cone.fs_hz);
    conditions.emplace_back("model_qms", driver.cone.qms);
    conditions.emplace_back("model_qes", driver.cone.qes);
    conditions.emplace_back("model_creep_lambda", driver.cone.creep_lambda);
    conditions.emplace_back("model_creep_law",
                            std::string(driver.cone.exponential_creep ? "exponential" : "logarithmic"));
    conditions.emplace_back("model_loss_slope", driver.cone.loss_slope);
    for (const CoilMember& part : coil_members) {
        if (driver.coil.*part.member > 0.0) conditions.emplace_back(part.name, driver.coil.*part.member);
    }
}

std::optional<analysis::FittedDriver> fitted_driver(const Conditions& conditions) {
    const auto name = condition_of<std::string>(conditions, "coil_model");
    const auto re = condition_of<double>(conditions, "model_re_ohm");
    const auto fs = condition_of<double>(conditions, "model_fs_hz");
    const auto qms = condition_of<double>(conditions, "model_qms");
    const auto qes = condition_of<double>(conditions, "model_qes");
    analysis::FittedDriver driver;
    if (!name || !re || !fs || !qms || !qes || !analysis::coil_of_name(*name, driver.coil.kind)) return {};
    driver.re_ohm = *re;
    driver.cone = {*fs,
                   *qms,
                   *qes,
                   condition_of<double>(conditions, "model_creep_lambda").value_or(0.0),
                   condition_of<std::string>(conditions, "model_creep_law").value_or("") == "exponential",
                   condition_of<double>(conditions, "model_loss_slope").value_or(0.0)};
    for (const CoilMember& part : coil_members) {
        driver.coil.*part.member = condition_of<double>(conditions, part.name).value_or(0.0);
    }
    const auto parameters = analysis::coil_parameters(driver.coil);
    for (std::size_t i = 0; i < analysis::coil_parameter_count(driver.coil.kind); ++i) {
        if (!(parameters[i] > 0.0)) return {};
    }
    return driver;
}

}  // namespace assay::cli
