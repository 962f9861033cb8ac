#include "analysis/driver/model_choice.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace assay::analysis {

namespace {

constexpr double reach = 10.0;  // "very strong" by Kass and Raftery, JASA 90, 1995 (from memory)

/// A driver can be so: creep that hardens with time, a power above one or losses below zero cannot.
bool possible(const Fit& fit) {
    if (!fit.converged) return false;
    const FittedDriver driver = driver_of(fit.layout, fit.parameters);
    const double lambda = driver.cone.creep_lambda;
    if (lambda < 0.0 || lambda > 0.35) return false;
    if (driver.coil.n > 1.02) return false;
    if (std::abs(driver.cone.loss_slope) > 2.0) return false;
    return driver.cone.qms < 100.0 && driver.cone.qms > 0.1;
}

double criterion_of(const Fit& fit, double correlation_length) {
    const double parameters = static_cast<double>(fit.layout.count + 1);
    const double independent = 2.0 * static_cast<double>(fit.points) / correlation_length;
    return parameters * std::log(std::max(independent, 2.0)) - 2.0 * fit.log_likelihood / correlation_length;
}

}  // namespace

std::string suspension_name(SuspensionKind kind) {
    switch (kind) {
        case SuspensionKind::plain:
            return "plain spring";
        case SuspensionKind::logarithmic_creep:
            return "logarithmic creep";
        case SuspensionKind::exponential_creep:
            return "exponential creep";
        case SuspensionKind::loss_slope:
            return "loss that changes with frequency";
    }
    return {};
}

std::string model_name(const FitModel& model) {
    return coil_name(model.coil) + " coil, " + suspension_name(model.suspension);
}

std::vector<FitModel> first_models() {
    std::vector<FitModel> models;
    for (const CoilKind coil :
         {CoilKind::power_law, CoilKind::inductance, CoilKind::loss_circuit, CoilKind::bounded_power_law,
          CoilKind::semi_inductance, CoilKind::double_loss_circuit}) {
        models.push_back({coil, SuspensionKind::plain});
        models.push_back({coil, SuspensionKind::logarithmic_creep});
    }
    return models;
}

namespace {

/// Nothing when no start leads to a possible driver.
std::optional<TriedModel> try_model(const FitModel& model, const FitInputs& inputs,
                                    const std::vector<Eigen::VectorXd>& starts) {
    std::optional<TriedModel> best;
    for (const Eigen::VectorXd& start : starts) {
        TriedModel one;
        one.fit = fit_driver(model, inputs, start);
        if (!possible(one.fit)) continue;
        if (!best || one.fit.log_likelihood > best->fit.log_likelihood) best = std::move(one);
    }
    return best;
}

/// The other suspensions, with the coils that did best; they start where those ended.
void try_other_suspensions(const FitInputs& inputs, ModelChoice& choice) {
    std::stable_sort(choice.tried.begin(), choice.tried.end(), [](const TriedModel& a, const TriedModel& b) {
        return a.fit.log_likelihood > b.fit.log_likelihood;
    });
    std::vector<CoilKind> coils;
    std::vector<TriedModel> more;
    constexpr std::size_t most_coils = 6;
    for (const TriedModel& one : choice.tried) {
        const CoilKind coil = one.fit.layout.model.coil;
        if (coils.size() == most_coils) break;
        if (std::find(coils.begin(), coils.end(), coil) != coils.end()) continue;
        coils.push_back(coil);
        for (const SuspensionKind kind : {SuspensionKind::exponential_creep, SuspensionKind::loss_slope}) {
            const FitModel model{coil, kind};
            const FitLayout layout = fit_layout(model, inputs);
            const Fit& from = one.fit;
            Eigen::VectorXd start = Eigen::VectorXd::Zero(layout.count);
            const Eigen::Index shared =
                FitLayout::coil + static_cast<Eigen::Index>(coil_parameter_count(coil));
            start.head(shared) = from.parameters.head(shared);
            start[layout.creep] = kind == SuspensionKind::loss_slope ? 0.0 : 0.05;
            start.tail(layout.count - layout.creep - 1) =
                from.parameters.tail(layout.count - layout.creep - 1);
            if (auto tried = try_model(model, inputs, {start})) more.push_back(std::move(*tried));
        }
    }
    for (TriedModel& one : more) choice.tried.push_back(std::move(one));
}

}  // namespace

ModelChoice choose_model(const FitInputs& inputs, const StartReading& reading) {
    ModelChoice choice;
    for (const FitModel& model : first_models()) {
        if (auto tried = try_model(model, inputs, starts_for(model, inputs, reading)))
            choice.tried.push_back(std::move(*tried));
    }
    if (choice.tried.empty()) return choice;
    try_other_suspensions(inputs, choice);
    // The length of the model that leaves the least is that of the data; a poor model's own would excuse it.
    const auto least = std::max_element(
        choice.tried.begin(), choice.tried.end(),
        [](const TriedModel& a, const TriedModel& b) { return a.fit.log_likelihood < b.fit.log_likelihood; });
    const double length = least->fit.correlation_length;
    for (TriedModel& one : choice.tried) one.criterion = criterion_of(one.fit, length);
    std::stable_sort(choice.tried.begin(), choice.tried.end(),
                     [](const TriedModel& a, const TriedModel& b) { return a.criterion < b.criterion; });
    for (const TriedModel& one : choice.tried) {
        if (one.criterion > choice.tried.front().criterion + reach) break;
        ++choice.within_reach;
    }
    return choice;
}

}  // namespace assay::analysis
