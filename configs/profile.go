package configs

import (
	"embed"
	"fmt"
	"io/fs"
	"reflect"
	"slices"
	"strings"
	"sync"

	"pumpside/drivers/regmap"
)

//go:embed profiles/*.yaml
var profileFiles embed.FS

// A profileFile is what an open standard, or a common kind of device, says of
// points by their name. It has no addresses: those are the maker's.
type profileFile struct {
	Title  string      `yaml:"title" need:"what kind of device it describes" doc:"What kind of device it describes."`
	Points []pointFile `yaml:"points" need:"the points, by name" doc:"What is known of points; the name * stands for every other name."`
}

// A profile is a profileFile and what stands in it.
type profile struct {
	*document
	file profileFile
}

// A Profile is what a device of the configuration can refer to.
type Profile struct {
	Name, Title string
	Text        []byte // YAML, with comments
}

// Profiles lists the profiles by name.
func Profiles() []Profile {
	var list []Profile
	for name, p := range loadProfiles() {
		text, _ := fs.ReadFile(profileFiles, profilePath(name)) // it was read before
		list = append(list, Profile{Name: name, Title: p.file.Title, Text: text})
	}
	slices.SortFunc(list, func(a, b Profile) int { return strings.Compare(a.Name, b.Name) })
	return list
}

func profilePath(name string) string { return "profiles/" + name + ".yaml" }

// loadProfiles reads all of them; a mistake in one is our own.
var loadProfiles = sync.OnceValue(func() map[string]*profile {
	paths, _ := fs.Glob(profileFiles, "profiles/*.yaml") // a pattern of ours is never bad
	all := map[string]*profile{}
	for _, path := range paths {
		text, err := fs.ReadFile(profileFiles, path)
		p := &profile{}
		if err == nil {
			p.document = decode(path, text, &p.file)
		}
		if err != nil || len(p.problems) > 0 {
			panic(fmt.Sprintf("configs: %v %v", err, p.problems))
		}
		all[strings.TrimSuffix(strings.TrimPrefix(path, "profiles/"), ".yaml")] = p
	}
	return all
})

// profileNamed finds a profile; nil without one.
func (l *loader) profileNamed(here *place, name string) *profile {
	p, known := loadProfiles()[name]
	if name != "" && !known {
		l.wrong(here, "there is no profile %q; %s", name, oneOf(name, sortedKeys(loadProfiles())))
	}
	return p
}

// point finds what p says of a name.
func (p *profile) point(name string) (i int, found bool) {
	for _, want := range []string{name, "*"} {
		i := slices.IndexFunc(p.file.Points, func(f pointFile) bool { return f.Name == want })
		if i >= 0 {
			return i, true
		}
	}
	return 0, false
}

// fill takes from p what the point at here leaves open: what the site writes
// counts.
func (l *loader) fill(here *place, f *pointFile, p *profile) {
	if p == nil {
		return
	}
	i, found := p.point(f.Name)
	if !found {
		return
	}
	to, from := reflect.ValueOf(f).Elem(), reflect.ValueOf(&p.file.Points[i]).Elem()
	for k, field := range shapeOf(to.Type()).fields {
		written, _ := l.find(here.child(field.name))
		known, _ := p.find(at("points").item(i).child(field.name))
		if written == nil && known != nil && !l.isSpoilt(here.child(field.name)) {
			to.Field(k).Set(from.Field(k))
		}
	}
}

// typed makes sure that the point has a type, its own or a profile's.
func (l *loader) typed(here *place, f *pointFile, p *profile) {
	if f.Type != "" || l.isSpoilt(here.child("type")) {
		return
	}
	hint := ""
	if p != nil {
		hint = fmt.Sprintf("; the profile knows %s", strings.Join(p.names(), ", "))
	}
	l.spoil(here.child("type"), "missing; say how the registers are to be read, such as %v or %v%s", regmap.Uint16, regmap.Float32, hint)
}

func (p *profile) names() (list []string) {
	for _, f := range p.file.Points {
		list = append(list, f.Name)
	}
	return list
}
