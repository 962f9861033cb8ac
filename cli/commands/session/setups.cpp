#include "cli/commands/session/setups.h"

#include <algorithm>

#include "cli/commands/live/trust_remark.h"

namespace assay::cli {

Setup setup_for(const JobOnBench& all, const Test& test) {
    Setup setup{all.bench, &test, all.bench->sample_rate_hz};
    setup.folder = all.folder;
    setup.read = all.read;
    setup.date = all.created.substr(0, std::min(all.created.find('T'), all.created.size()));
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

void set_fault(TestResult& result, const capture::Fault& fault) {
    result.fault = fault;
    result.drop_numbers();
}

bool was_live(const TestRecord& record) {
    return std::any_of(record.result.conditions.begin(), record.result.conditions.end(),
                       [](const auto& condition) { return condition.first == "sound_device"; });
}

void note_device_flags(TestRecord& record) {
    for (const Take& take : record.takes) {
        for (std::size_t k = 1; k < take.recording.flags.size(); ++k) {
            if (auto remark = remark_of(take.recording.flags[k])) {
                record.result.whole.warn(remark->code, remark->text, remark->mend);
                continue;
            }
            record.result.whole.warn(
                "device", take.recording.path.filename().string() + ": " + take.recording.flags[k],
                "numbers rest only on what was checked in the signal; a larger buffer helps");
        }
    }
    if (!record.takes.empty() && !record.takes.front().recording.flags.empty())
        record.result.conditions.emplace_back("sound_device", record.takes.front().recording.flags.front());
}

}  // namespace assay::cli
