#include "cli/comparison/shared_sources.h"

#include "cli/files/session/session_describe.h"

namespace assay::cli {
namespace {

Json bench_json(const capture::Bench& bench) {
    return json_of([&](JsonWriter& archive) { write_bench(archive, bench); });
}

void add_equal(const Json& left, const Json& right, const std::string& kind, std::set<std::string>& parts) {
    if (!left.contains(kind) || !right.contains(kind)) return;
    for (const Json& here : left[kind]) {
        for (const Json& there : right[kind]) {
            if (here == there && here.contains("name")) {
                parts.insert(kind + ':' + here["name"].get_ref<const std::string&>());
            }
        }
    }
}

}  // namespace

std::set<std::string> shared_parts(const capture::Bench& left, const capture::Bench& right) {
    const Json here = bench_json(left);
    const Json there = bench_json(right);
    std::set<std::string> parts;
    add_equal(here, there, "input", parts);
    add_equal(here, there, "output", parts);
    add_equal(here, there, "meter", parts);
    add_equal(here, there, "load", parts);
    const std::string jig = "impedance_jig";
    if (here.contains(jig) && there.contains(jig) && here[jig] == there[jig]) parts.insert("jig");
    return parts;
}

bool is_shared(const std::string& source_id, const std::set<std::string>& parts) {
    // A session names the file of the inputs' match only, not what stands in it.
    if (source_id.starts_with("jig:match")) return false;
    for (const std::string& part : parts) {
        const bool begins = source_id.starts_with(part);
        if (begins && (source_id.size() == part.size() || source_id[part.size()] == ':')) return true;
    }
    return false;
}

}  // namespace assay::cli
