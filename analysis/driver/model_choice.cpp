#include "analysis/driver/model_choice.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace assay::analysis {

namespace {

constexpr double clear_difference = 10.0;  // "very strong" by Kass and Raftery, JASA 90, 1995 (from memory)

/// A driver can be so: creep that hardens with time, or a power above one, cannot.
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

/// The other suspensions, with each coil; they start where the best with that coil ended.
void try_other_suspensions(const FitInputs& inputs, const StartReading& reading, ModelChoice& choice) {
    std::stable_sort(choice.tried.begin(), choice.tried.end(), [](const TriedModel& a, const TriedModel& b) {
        return a.fit.log_likelihood > b.fit.log_likelihood;
    });
    std::vector<CoilKind> coils;
    std::vector<TriedModel> more;
    for (const TriedModel& one : choice.tried) {
        const CoilKind coil = one.fit.layout.model.coil;
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
            // Those ends can be dead ones, where a coil had to make up for the wrong suspension.
            std::vector<Eigen::VectorXd> starts = starts_for(model, inputs, reading);
            starts.push_back(std::move(start));
            if (auto tried = try_model(model, inputs, starts)) more.push_back(std::move(*tried));
        }
    }
    for (TriedModel& one : more) choice.tried.push_back(std::move(one));
}

/// Every n-th point, so that about `most` are left of each curve.
FitInputs thinned(const FitInputs& inputs, std::size_t most) {
    FitInputs few = inputs;
    for (LoadedCurve& taken : few.curves) {
        const std::vector<ImpedancePoint> all = std::move(taken.curve.points);
        taken.curve.points.clear();
        const std::size_t step = std::max<std::size_t>(all.size() / most, 1);
        for (std::size_t i = 0; i < all.size(); i += step) taken.curve.points.push_back(all[i]);
        for (auto& [source, changes] : taken.curve.systematic) {
            const std::vector<std::complex<double>> every = std::move(changes);
            changes.clear();
            for (std::size_t i = 0; i < every.size(); i += step) changes.push_back(every[i]);
        }
    }
    return few;
}

void sort_by_criterion(std::vector<TriedModel>& tried) {
    // The length of the model that leaves the least is that of the data; a poor model's own would excuse it.
    const auto least = std::max_element(
        tried.begin(), tried.end(),
        [](const TriedModel& a, const TriedModel& b) { return a.fit.log_likelihood < b.fit.log_likelihood; });
    const double length = least->fit.correlation_length;
    for (TriedModel& one : tried) one.criterion = criterion_of(one.fit, length);
    std::stable_sort(tried.begin(), tried.end(),
                     [](const TriedModel& a, const TriedModel& b) { return a.criterion < b.criterion; });
}

}  // namespace

ModelChoice choose_model(const FitInputs& inputs, const StartReading& reading) {
    // All models on some of the points; those that can win, on all of them.
    constexpr std::size_t screened_points = 150;
    constexpr std::size_t finalists = 8;
    const FitInputs few = thinned(inputs, screened_points);
    ModelChoice screen;
    for (const FitModel& model : first_models()) {
        if (auto tried = try_model(model, few, starts_for(model, few, reading)))
            screen.tried.push_back(std::move(*tried));
    }
    if (screen.tried.empty()) return {};
    try_other_suspensions(few, reading, screen);
    sort_by_criterion(screen.tried);
    ModelChoice choice;
    choice.screened = screen.tried.size();
    for (std::size_t i = 0; i < std::min(finalists, screen.tried.size()); ++i) {
        const Fit& from = screen.tried[i].fit;
        if (auto tried = try_model(from.layout.model, inputs, {from.parameters}))
            choice.tried.push_back(std::move(*tried));
    }
    if (choice.tried.empty()) return choice;
    sort_by_criterion(choice.tried);
    for (const TriedModel& one : choice.tried) {
        if (one.criterion > choice.tried.front().criterion + clear_difference) break;
        ++choice.within_reach;
    }
    return choice;
}

}  // namespace assay::analysis
