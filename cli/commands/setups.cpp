#include "cli/commands/setups.h"

#include <algorithm>

namespace assay::cli {

Setup setup_for(const JobOnBench& all, const Test& test) {
    Setup setup{all.bench, &test, all.bench->sample_rate_hz};
    setup.folder = all.folder;
    setup.named = [all](const std::string& id) -> std::optional<NamedTest> {
        const auto other = std::find_if(all.job->tests.begin(), all.job->tests.end(),
                                        [&](const Test& candidate) { return candidate.id == id; });
        if (other == all.job->tests.end()) return std::nullopt;
        NamedTest named{&*other};
        for (const TestRecord& record : *all.records) {
            if (record.id == id) named.takes = record.takes;
        }
        return named;
    };
    return setup;
}

}  // namespace assay::cli
