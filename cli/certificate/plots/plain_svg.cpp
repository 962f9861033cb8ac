#include "cli/certificate/plots/plain_svg.h"

#include <map>
#include <string_view>
#include <vector>

namespace assay::cli {
namespace {

/// The value of an attribute in a tag, empty if it has none.
std::string attribute(const std::string& tag, const std::string& name) {
    for (const char quote : {'\'', '"'}) {
        const std::size_t at = tag.find(" " + name + "=" + quote);
        if (at == std::string::npos) continue;
        const std::size_t start = at + name.size() + 3;
        const std::size_t end = tag.find(quote, start);
        if (end != std::string::npos) return tag.substr(start, end - start);
    }
    return {};
}

std::string without_attribute(std::string tag, const std::string& name) {
    for (const char quote : {'\'', '"'}) {
        const std::size_t at = tag.find(" " + name + "=" + quote);
        if (at == std::string::npos) continue;
        const std::size_t end = tag.find(quote, at + name.size() + 3);
        if (end != std::string::npos) tag.erase(at, end + 1 - at);
    }
    return tag;
}

using Shapes = std::map<std::string, std::string>;

/// What a <use .../> stands for: the shape inside a group with the attributes of the reference.
std::string written_out(const std::string& use, const Shapes& shapes) {
    const std::string target = attribute(use, "xlink:href");
    const auto shape = target.empty() ? shapes.end() : shapes.find(target.substr(1));
    if (shape == shapes.end()) return {};
    std::string group = without_attribute(without_attribute(use, "xlink:href"), "id");
    group.replace(0, 4, "<g");
    group.replace(group.rfind("/>"), 2, ">");
    return group + shape->second + "</g>";
}

/// Takes the <defs> out of the drawing and gives the shapes in it by id.
Shapes take_shapes(std::string& drawing) {
    Shapes shapes;
    const std::size_t start = drawing.find("<defs>");
    const std::size_t end = drawing.find("</defs>");
    if (start == std::string::npos || end == std::string::npos || end < start) return shapes;
    for (std::size_t at = drawing.find('<', start + 1); at < end; at = drawing.find('<', at + 1)) {
        const std::string tag = drawing.substr(at, drawing.find('>', at) + 1 - at);
        const std::string id = attribute(tag, "id");
        if (id.empty() || !tag.ends_with("/>")) continue;
        shapes[id] = tag.starts_with("<use") ? written_out(tag, shapes) : without_attribute(tag, "id");
    }
    drawing.erase(start, end + 7 - start);
    return shapes;
}

}  // namespace

void replace_all(std::string& text, const std::string& from, const std::string& to) {
    for (std::size_t at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size())) {
        text.replace(at, from.size(), to);
    }
}

std::string plain_svg(const std::string& original) {
    std::string drawing = original;
    replace_all(drawing, "font-family=\"sans-serif\"", "font-family=\"Liberation Sans, Arial, sans-serif\"");
    const Shapes shapes = take_shapes(drawing);
    for (std::size_t at = drawing.find("<use "); at != std::string::npos; at = drawing.find("<use ", at)) {
        const std::size_t end = drawing.find("/>", at);
        if (end == std::string::npos) break;
        drawing.replace(at, end + 2 - at, written_out(drawing.substr(at, end + 2 - at), shapes));
    }
    std::string out;
    std::vector<std::string> colours{"black"};
    for (std::size_t at = 0; at < drawing.size();) {
        const std::size_t open = drawing.find('<', at);
        const std::size_t close = open == std::string::npos ? open : drawing.find('>', open);
        if (close == std::string::npos) {
            out.append(drawing, at, std::string::npos);
            break;
        }
        out.append(drawing, at, open - at);
        std::string tag = drawing.substr(open, close + 1 - open);
        const std::string own = attribute(tag, "color");
        const std::string colour = own.empty() ? colours.back() : own;
        const bool group = tag.starts_with("<g ") || tag == "<g>";
        if (group && !tag.ends_with("/>")) colours.push_back(colour);
        if (tag == "</g>" && colours.size() > 1) colours.pop_back();
        replace_all(tag, "currentColor", colour);
        if (group || tag.starts_with("<path") || tag.starts_with("<circle")) {
            tag = without_attribute(without_attribute(tag, "color"), "id");
        }
        out += tag;
        at = close + 1;
    }
    return out;
}

}  // namespace assay::cli
